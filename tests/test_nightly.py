"""The night: what changed is told, a failure leaves the last ranking whole, nothing collides, several searches."""

import json
import os
import time
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pipeline import night
from pipeline.cli import app
from pipeline.digest import Changes, changes
from pipeline.errors import BusyError, RuleError, StageError, UsageError
from pipeline.nightly_settings import prepare
from pipeline.search import start_search
from pipeline.store import open_store

ONE = "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles, MOT to June 2027. £4,200 ono. Hexham."
TWO = "1997 Marrick Dale camper, 2.4 diesel, manual, 131,000 miles. Test till March. £5,100. Stroud."


def save(folder: Path, **texts: str) -> None:
    for name, text in texts.items():
        (folder / "inbox" / f"{name}.txt").write_text(text, encoding="utf-8")


def make(folder: Path, **texts: str) -> Path:
    start_search(folder, home="Skipton", budget=7000, guide_price=5500)
    with (folder / "buyer.toml").open("a", encoding="utf-8") as file:
        file.write('\n[as_of]\ndate = "2026-10-31"\n')
    save(folder, **texts)
    return folder


def reports(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted((folder / "reports").iterdir())}


@pytest.fixture
def search(tmp_path: Path) -> Path:
    return make(tmp_path / "vans", one=ONE, two=TWO)


# ---- without Prefect ------------------------------------------------------------


def test_a_week_of_nights_tells_what_changed(search: Path) -> None:
    assert night.plain_night(search, 0).error == ""
    assert "The first night" in (search / "reports" / "digest.txt").read_text(encoding="utf-8")
    again = night.plain_night(search, 0)
    assert again.told["rank"]["unchanged"] and again.told["add"]["new"] == 0

    (search / "inbox" / "torn.pdf").write_bytes(b"%PDF-1.7\nnot much")
    save(search, one=ONE.replace("4,200", "3,600"), two=TWO + " Timing belt changed at 120,000 miles.")
    save(search, three=ONE.replace("98,000", "60,000").replace("1994", "1996").replace("June", "May") + " Rust free.")
    done = night.plain_night(search, 0)
    assert done.error == ""
    told = done.told["rank"]
    assert [text.split(":")[0] for text in told["changes"]["New"]] == [
        "1996 Marrick Dale camper, 2.4 diesel, manual, 60,000 miles, MOT to…"
    ]
    assert any("down from GBP 4,200 to 3,600" in text for text in told["changes"]["Price changed"])
    assert any("timing belt" in text for text in told["changes"]["Now answered by the advert"])
    words = (search / "reports" / "digest.txt").read_text(encoding="utf-8")
    assert "Not read" in words and "torn.pdf" in words
    assert max(map(len, words.splitlines())) <= 200  # only the page's address may be longer than a line of mail
    with open_store(search) as store:
        assert [run.command for run in store.last_runs()] == ["nightly", "nightly"]
        assert store.last_runs()[0].seconds["costing"] > 0
    assert len(list((search / "cache").glob("*.npz"))) == 3, "costs of what the adverts no longer say are deleted"
    assert [row["source"] for row in done.told["add"]["refused"]] == ["torn.pdf"]
    assert night.plain_night(search, 0).told["add"]["refused"] == [], "it was told before"


def test_a_failed_stage_leaves_yesterdays_ranking_whole(search: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert night.plain_night(search, 0).error == ""
    before = reports(search)
    with open_store(search) as store:
        ranked, told = store.rows(), store.told("digest")
    save(search, one=ONE.replace("4,200", "3,600"))

    def fail(*_: Any, **__: Any) -> None:
        raise StageError("the stage failed")

    for where in ("run.bring_up_to_date", "report.pages", "digest.digest", "output.write_files"):
        with monkeypatch.context() as broken:
            broken.setattr(f"pipeline.{where}", fail)
            assert "the stage failed" in night.plain_night(search, 0).error, where
        assert reports(search) == before
        with open_store(search) as store:
            assert (store.rows(), store.told("digest")) == (ranked, told)
    told_after = night.plain_night(search, 0).told["rank"]
    assert any("3,600" in text for text in told_after["changes"]["Price changed"])


def test_two_nights_do_not_collide(search: Path) -> None:
    with night.alone(search):
        assert "another night is at work" in night.plain_night(search, 0).error
    assert night.plain_night(search, 0).error == ""


def test_a_night_waits_for_a_buyer_and_tries_again(search: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []

    def busy(folder: Path) -> dict[str, Any]:
        calls.append(folder)
        if len(calls) < 3:
            raise BusyError("another viewworthy is at work here")
        return {"new": 0, "changed": 0, "same": 0, "refused": []}

    monkeypatch.setitem(night.STAGES, "add", busy)
    monkeypatch.setitem(night.STAGES, "rank", lambda folder: {"changes": {}, "unchanged": True})
    assert night.plain_night(search, 0).error == ""
    assert len(calls) == 3


def test_what_a_person_must_mend_is_not_tried_again(search: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []

    def wrong(folder: Path) -> dict[str, Any]:
        calls.append(folder)
        raise RuleError("unknown key", where="packs/own.yaml:3")

    monkeypatch.setitem(night.STAGES, "rank", wrong)
    assert "packs/own.yaml:3" in night.plain_night(search, 0).error
    assert len(calls) == 1


def test_a_stage_that_takes_too_long_is_stopped(search: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(night.LIMITS, "add", 0.2)
    monkeypatch.setitem(night.STAGES, "add", lambda folder: time.sleep(30) or {})
    started = time.monotonic()
    assert "took longer than" in night.plain_night(search, 0).error
    assert time.monotonic() - started < 10


def test_each_search_of_a_folder_is_on_its_own(tmp_path: Path) -> None:
    make(tmp_path / "club" / "anna", one=ONE)
    make(tmp_path / "club" / "bert", two=TWO)
    (tmp_path / "club" / "bert" / "buyer.toml").write_text("[buyer]\nhome = 7\n", encoding="utf-8")
    make(tmp_path / "club" / "cleo", two=TWO)
    (tmp_path / "club" / "not a search").mkdir()
    result = CliRunner().invoke(app, ["nightly", "--plain", "--json", str(tmp_path / "club")])
    told = json.loads(result.stdout)["searches"]
    assert [Path(row["search"]).name for row in told] == ["anna", "bert", "cleo"]
    assert [bool(row["error"]) for row in told] == [False, True, False]
    assert "buyer.toml" in told[1]["error"]
    assert result.exit_code == 1
    assert (tmp_path / "club" / "cleo" / "reports" / "ranking.html").exists()
    said = CliRunner().invoke(app, ["nightly", "--plain", str(tmp_path / "club")]).stdout.splitlines()
    assert said[0] == "anna: 0 new, 0 changed; nothing new"
    assert said[-1] == "3 searches, 1 failed."


def test_a_folder_without_a_search_is_said(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="neither a search folder"):
        night.search_folders(tmp_path)


# ---- what changed -----------------------------------------------------------------


def stands(**vehicles: dict[str, Any]) -> dict[str, Any]:
    usual = {"title": "", "verdict": "ring first", "worth": 1.0, "price": 4000.0, "sound": 5000.0, "repair": 900.0,
             "miles": 40.0, "gone": False, "asked": [], "said": []}  # fmt: skip
    rows = {ref: {**usual, "title": ref, "place": n, **row} for n, (ref, row) in enumerate(vehicles.items(), 1)}
    return {"versions": {"rules": "1"}, "terms": ["Hexham"], "vehicles": rows, "apart": []}


def test_the_first_night_has_nothing_to_compare_with() -> None:
    assert changes(None, stands(a={}), "GBP") == Changes()


def test_new_gone_and_what_the_buyer_set_apart() -> None:
    now = stands(b={}, c={})
    now["apart"] = ["a"]
    told = changes(stands(a={}, b={}, d={}), now, "GBP")
    assert (told.new, told.gone) == (("c: ring first, place 2",), ("d",))
    assert changes(stands(b={}), stands(b={"gone": True}), "GBP").gone == ("b",)


def test_who_moved_and_why() -> None:
    old = stands(a={}, b={}, c={}, d={})
    assert changes(old, stands(b={}, a={}, c={}, d={}), "GBP").moved == ()
    told = changes(old, stands(d={"repair": 300.0, "said": ["clutch done"]}, a={}, b={}, c={}), "GBP").moved
    assert told == ("d: place 4 → 1; expected repairs GBP 600 less, the advert now speaks of clutch",)
    (told_verdict,) = changes(old, stands(a={"verdict": "leave"}, b={}, c={}, d={}), "GBP").moved
    assert told_verdict == "a: ring first → leave, place 1 → 1; the others moved"
    ruled = stands(a={"verdict": "leave"}, b={}, c={}, d={})
    ruled["versions"] = {"rules": "2"}
    assert changes(old, ruled, "GBP").moved == ("a: ring first → leave, place 1 → 1; the rules changed",)


def test_arrivals_are_no_move_of_those_behind_them() -> None:
    old = stands(a={}, b={})
    assert changes(old, stands(x={}, y={}, z={}, q={}, a={}, b={}), "GBP").moved == ()


def test_a_question_is_answered_only_when_the_advert_now_speaks_of_it() -> None:
    asked = [["When was the belt done?", ["timing_belt"], "belt"], ["Manual or automatic?", [], "must.gearbox"]]
    old = stands(a={"asked": asked})
    assert changes(old, stands(a={"asked": []}), "GBP").answered == ()
    now = stands(a={"said": ["timing_belt done", "fact gearbox"]})
    assert changes(old, now, "GBP").answered == ("a: When was the belt done?", "a: Manual or automatic?")


# ---- with Prefect -----------------------------------------------------------------


def test_settings_keep_the_server_to_this_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in os.environ if name.startswith("PREFECT_")]:
        monkeypatch.delenv(name)
    before = dict(os.environ)
    try:
        prepare(tmp_path, served=True)
        assert os.environ["DO_NOT_TRACK"] == "1"
        assert os.environ["PREFECT_SERVER_ANALYTICS_ENABLED"] == "false"
        assert os.environ["PREFECT_HOME"] == str(tmp_path / ".prefect")
        assert os.environ["PREFECT_SERVER_API_HOST"] == "127.0.0.1"
        key = os.environ["PREFECT_API_AUTH_STRING"]
        assert key == os.environ["PREFECT_SERVER_API_AUTH_STRING"] and len(key) > 30
        assert (tmp_path / ".prefect" / "password").stat().st_mode & 0o077 == 0
    finally:
        os.environ.clear()
        os.environ.update(before)


def test_a_night_as_a_flow_leaves_artefacts(prefect_server: None, search: Path) -> None:
    from prefect.artifacts import Artifact

    from pipeline.nightly import one_night

    (search / "inbox" / "torn.pdf").write_bytes(b"%PDF-1.7\nnot much")
    done = one_night(search)
    assert done.error == "" and done.told["add"]["new"] == 2
    ranking = Artifact.get("ranking")
    assert ranking is not None and "Marrick Dale" in str(ranking.data)
    assert "torn.pdf" in str(getattr(Artifact.get("refused"), "data", ""))
    assert Artifact.get("changes") is not None


def test_a_failed_flow_is_told_and_stops_no_other(
    prefect_server: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline import nightly

    for name in ("anna", "bert"):
        make(tmp_path / name)

    def fail(folder: Path) -> dict[str, Any]:
        if folder.name == "anna":
            raise StageError("costing fell over")
        return {"ranking": [], "changes": {}, "unchanged": True, "page": ""}

    monkeypatch.setattr(nightly, "rank_again", fail)
    done = night.every_night(night.search_folders(tmp_path), nightly.one_night)
    assert [n.error for n in done] == ["costing fell over", ""]
    with pytest.raises(StageError, match="1 of 2 searches failed: anna"):
        nightly.nights(str(tmp_path))


def test_a_time_that_is_none_is_refused_before_a_server_starts(prefect_server: None, search: Path) -> None:
    from pipeline.nightly import serve

    with pytest.raises(UsageError, match="no cron time") as caught:
        serve(search, "every day", print)
    assert "15 3 * * *" in str(caught.value)


def test_cron_times_are_those_of_this_machine(prefect_server: None, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.nightly import _zone

    for told, zone in (("Pacific/Auckland", "Pacific/Auckland"), (":/usr/share/zoneinfo/Asia/Tokyo", "Asia/Tokyo")):
        monkeypatch.setenv("TZ", told)
        assert _zone() == zone
    monkeypatch.setenv("TZ", "nonsense/../..")
    assert _zone() == "UTC"
