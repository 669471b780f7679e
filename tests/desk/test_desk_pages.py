"""The desk by its forms, without a browser: paste, correct, record, take back, buyer.toml; two tabs; hostile text."""

import json
import re
import threading
import time

import pytest
from desk_running import FAR_AWAY, ONE, Running

from pipeline.desk import buyer_form, forms
from pipeline.desk.work import Job, Worker
from pipeline.errors import UsageError
from pipeline.intake import Progress
from pipeline.store import open_store


def version(text: str) -> str:
    found = re.search(r'name="version" value="([^"]+)"', text)
    assert found
    return found[1]


def test_the_first_page_is_the_ranking_once_it_is_made(desk: Running) -> None:
    first = desk.get("/")
    assert first.status == 303 and first.leads_to.startswith("/work/")
    page = desk.finished(first)
    assert page.text.count("Marrick Dale") == 2 and "ring first" in page.text
    assert desk.get("/report/ranking.html").text.startswith("<!doctype html>")
    sheet = desk.get("/vehicle/1/sheet")
    assert sheet.status == 200 and "Marrick Dale" in sheet.text
    assert desk.get("/vehicle/99").status == 404 and desk.get("/nowhere").status == 404
    assert desk.get("/vehicle/1/note").status == 405


def test_a_pasted_advert_is_kept_read_and_shown_with_its_marks(desk: Running) -> None:
    text = "1999 Marrick Vale camper, 2.0 petrol, manual. <b>Sills solid</b>. £3,300. Settle."
    page = desk.finished(desk.post("/add", {"text": text, "place": "Settle", "title": "Vale"}))
    assert "1 new" in page.text and "&lt;b&gt;" in page.text and "<b>Sills" not in page.text
    assert re.search(r'<mark[^>]*class="absent[^>]*>[^<]*Sills', page.text)
    (kept,) = desk.folder.glob("inbox/pasted-*.jsonl")
    assert json.loads(kept.read_text(encoding="utf-8"))["text"] == text
    plain = desk.finished(desk.post("/add", {"text": ONE.replace("4,200", "3,950").replace("1994", "1993")}))
    assert "1 new" in plain.text and list(desk.folder.glob("inbox/pasted-*.txt"))
    assert desk.post("/add", {"text": "  "}).status == 400


def test_dropped_files_are_named_safely_and_refusals_are_told(desk: Running) -> None:
    mark = "xxBOUNDxx"
    parts = [
        ("../../evil name\u202e.txt", "1995 Marrick Dale, £2,900, Leeds, 2.4 diesel"),
        ("broken.pdf", "%PDF-1.4 no"),
    ]
    body = "".join(
        f'--{mark}\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n'
        f"Content-Type: application/octet-stream\r\n\r\n{data}\r\n"
        for name, data in parts
    )
    got = desk.ask(
        "POST", "/add", f"{body}--{mark}--\r\n", Host=desk.here, Cookie=desk.cookie, Origin=f"http://{desk.here}",
        Content_Type=f"multipart/form-data; boundary={mark}",
    )  # fmt: skip
    page = desk.finished(got)
    assert "broken.pdf" in page.text and "1 not read" in page.text and "1 new" in page.text
    names = {path.name for path in desk.folder.glob("inbox/*")}
    assert names == {"one.txt", "two.txt", "evil name-.txt", "broken.pdf"}
    assert not list(desk.folder.parent.glob("evil*"))


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("C:\\Users\\me\\van.html", "van.html"),
        ("..", "dropped.txt"),
        (".hidden", "hidden"),
        ("a" * 300 + ".html", "a" * 106 + ".html"),
        ("ünïcode ß.txt", "ünïcode ß.txt"),
        ("a/b\x00c.eml", "b-c.eml"),
    ],
)
def test_file_names(given: str, name: str) -> None:
    assert forms.file_name(given) == name


def test_a_call_is_recorded_shows_what_it_changes_and_is_taken_back(desk: Running) -> None:
    desk.finished(desk.get("/"))
    page = desk.get("/vehicle/2")
    values = [
        ("version", version(page.text)), ("learnt", "viewing"), ("part", "clutch"), ("state", "major"), ("part", ""),
        ("state", "sound"), ("subject", "timing_belt"), ("answer", "done at 130000, bill seen"),
        ("photos", "a.jpg\nb.jpg"), ("price_refused", "4,800"), ("text", "<script>alert(1)</script> two owners"),
    ]  # fmt: skip
    told = desk.finished(desk.post("/vehicle/2/note", values))
    assert "What it changed" in told.text and "Clutch worn" in told.text and "Photograph: b.jpg" in told.text
    assert "<script>" not in told.text and "Offer refused: £4,800" in told.text
    back = desk.finished(desk.post("/vehicle/2/undo", {"version": version(told.text)}))
    assert "Taken back" in back.text and "taken back" in back.text
    with open_store(desk.folder) as store:
        assert [note.undone for note in store.notes()] == [True]


def test_a_correction_is_kept_as_such_and_outlives_reading_again(desk: Running) -> None:
    desk.finished(desk.get("/"))
    page = desk.get("/vehicle/1")
    right = {"version": version(page.text), "advert": "one.txt", "fact": "mileage", "value": "89,000"}
    told = desk.finished(desk.post("/vehicle/1/correct", right))
    assert "Corrected: mileage 89,000 (was read as 98,000)" in told.text and "note.correction" in told.text
    right = {
        "version": version(told.text), "advert": "one.txt", "subject": "clutch", "instead_of": "present",
        "status": "unsaid", "grade": "plain",
    }  # fmt: skip
    again = desk.finished(desk.post("/vehicle/1/correct", right))
    assert "nothing said" in again.text
    added = {
        "version": version(again.text), "advert": "one.txt", "subject": "sills", "instead_of": "", "status": "done",
        "grade": "heavy", "at_year": "2021", "at_mileage": "",
    }  # fmt: skip
    assert "done already, heavy, in 2021" in desk.finished(desk.post("/vehicle/1/correct", added)).text
    with open_store(desk.folder) as store:  # as if a command with older rules had read them meanwhile
        store.keep_readings(dict(store.readings()), "older rules")
    page = desk.get("/")
    assert "Bringing the ranking up to date" in page.text, "what another program changed is seen"
    desk.finished(desk.get(re.findall(r"/work/\d+", page.text)[0]))
    page = desk.get("/vehicle/1")
    assert "89,000" in page.text and "note.correction" in page.text


def test_what_cannot_be_used_comes_back_with_the_persons_words(desk: Running) -> None:
    desk.finished(desk.get("/"))
    page = desk.get("/vehicle/1")
    values = {"version": version(page.text), "learnt": "call", "text": "a long story", "price_agreed": "lots"}
    back = desk.finished(desk.post("/vehicle/1/note", values))
    assert "is no sum" in back.text and "a long story" in back.text and 'value="lots"' in back.text
    wrong = {"version": version(page.text), "advert": "one.txt", "fact": "year", "value": "94"}
    assert "Give a year such as 1994" in desk.finished(desk.post("/vehicle/1/correct", wrong)).text
    with open_store(desk.folder) as store:
        assert store.notes() == []


def test_two_tabs_do_not_lose_a_record(desk: Running) -> None:
    desk.finished(desk.get("/"))
    old = version(desk.get("/vehicle/1").text)
    desk.finished(desk.post("/vehicle/1/note", {"version": old, "text": "the first tab"}))
    page = desk.finished(desk.post("/vehicle/1/note", {"version": old, "text": "the second tab"}))
    assert "in another tab" in page.text and "the first tab" in page.text and "the second tab" in page.text
    saved = desk.finished(desk.post("/vehicle/1/note", {"version": version(page.text), "text": "the second tab"}))
    assert "Recorded" in saved.text
    with open_store(desk.folder) as store:
        assert [note.text for note in store.notes()] == ["the first tab", "the second tab"]


def buyer_values(text: str) -> list[tuple[str, str]]:
    """The fields of the form as they stand, as a browser would send them."""
    found = re.findall(r'<input (?:type="hidden" )?name="(\w+)" value="([^"]*)"', text)
    found += [(n, v) for n, v in re.findall(r'type="checkbox" name="(\w+)" value="([^"]*)" checked', text)]
    for name, options in re.findall(r'<select name="(\w+)">(.*?)</select>', text):
        chosen = re.search(r"<option(?: value=\"([^\"]*)\")? selected>([^<]*)", options)
        found.append((name, (chosen[1] or chosen[2]) if chosen else ""))
    return found


def test_buyer_toml_is_edited_with_its_comments_kept_and_checked(desk: Running) -> None:
    path = desk.folder / "buyer.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# mine\n", encoding="utf-8")
    page = desk.get("/buyer").text
    values = dict(buyer_values(page)) | {"budget_total": "6500", "fuel": "diesel", "guide_price": ""}
    assert values["home"] == "Skipton" and "as_of.date" in page
    desk.finished(desk.post("/buyer", values))
    text = path.read_text(encoding="utf-8")
    assert "budget_total = 6500" in text and 'fuel = ["diesel"]' in text and "# mine" in text
    assert "where journeys start" in text and "\nguide_price" not in text and 'date = "2026-10-31"' in text
    for wrong, told in (
        ({"budget_total": "many"}, "is no number"),
        ({"purpose": "racing"}, "is not known"),
        ({"currency": "pounds"}, "currency"),
        ({"home": ""}, "home"),
    ):
        page = desk.get("/buyer").text
        got = desk.post("/buyer", dict(buyer_values(page)) | wrong)
        assert got.status == 400 and told in got.text, wrong
    assert path.read_text(encoding="utf-8") == text


def test_two_tabs_do_not_lose_an_edit_of_buyer_toml(desk: Running) -> None:
    page = desk.get("/buyer").text
    first = dict(buyer_values(page)) | {"budget_total": "6100"}
    second = dict(buyer_values(page)) | {"home": "Hull"}
    desk.finished(desk.post("/buyer", first))
    got = desk.post("/buyer", second)
    assert got.status == 409 and "In the file now: 6100" in got.text and 'value="Hull"' in got.text
    assert "6100" in (desk.folder / "buyer.toml").read_text(encoding="utf-8")
    saved = desk.finished(desk.post("/buyer", dict(buyer_values(got.text))))
    assert saved.status == 200 and 'home = "Hull"' in (desk.folder / "buyer.toml").read_text(encoding="utf-8")


def test_a_form_of_packs_that_are_not_there_is_refused(desk: Running) -> None:
    with pytest.raises(UsageError, match="Kinds of vehicle"):
        buyer_form.changed(desk.folder, {"home": ["Hull"], "packs": ["submarine"]})


def test_pages_answer_while_work_goes_on_and_work_that_fails_is_told() -> None:
    worker, hold = Worker(), threading.Event()

    def long(job: Job, progress: Progress) -> None:
        progress("reading", 3, 10)
        hold.wait(FAR_AWAY)

    def broken(job: Job, progress: Progress) -> None:
        raise UsageError("no such thing", remedy="Try another.")

    def bug(job: Job, progress: Progress) -> None:
        raise ZeroDivisionError("inside")

    first, second, third = (worker.add("work", task) for task in (long, broken, bug))
    ends = time.monotonic() + FAR_AWAY
    while first.done != 3 and time.monotonic() < ends:
        time.sleep(0.01)
    assert worker.busy is first and (first.stage, first.total, second.state) == ("reading", 10, "waiting")
    hold.set()
    worker.close()
    assert [job.state for job in (first, second, third)] == ["done", "failed", "failed"]
    assert second.error == "no such thing. Try another." and "ZeroDivisionError" in third.error


def test_a_broken_buyer_toml_is_told_on_every_page_until_it_is_mended(desk: Running) -> None:
    desk.finished(desk.get("/"))
    path = desk.folder / "buyer.toml"
    whole = path.read_text(encoding="utf-8")
    path.write_text("[buyer]\nhome = 1\n", encoding="utf-8")
    page = desk.get("/")
    assert page.status == 200 and "Marrick" in page.text, "what was there is shown still"
    told = desk.finished(desk.get(re.findall(r"/work/\d+", page.text)[0]))
    assert "uyer.toml:2: home" in told.text
    assert "uyer.toml:2: home" in desk.get("/vehicle/1").text
    path.write_text(whole, encoding="utf-8")
    desk.finished(desk.get(re.findall(r"/work/\d+", desk.get("/").text)[0]))
    assert "uyer.toml:2" not in desk.get("/vehicle/1").text
