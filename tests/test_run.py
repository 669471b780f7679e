"""The run: stages in order, what is unchanged is not read again, prices and places as the buyer reckons them."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.ingest import gather
from pipeline.intake import Added, add
from pipeline.output import as_json, write_files
from pipeline.run import Result, bring_up_to_date
from pipeline.search import Search, open_search, start_search
from pipeline.store import open_store

ONE = "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles, MOT to June 2027. £4,200 ono. Hexham."
TWO = "1997 Marrick Dale camper, 2.4 diesel, manual, 131,000 miles. Test till March. £5,100. Stroud."


@pytest.fixture
def search(tmp_path: Path) -> Search:
    start_search(tmp_path / "s", home="Skipton", budget=7000, guide_price=5500)
    text = (tmp_path / "s" / "buyer.toml").read_text(encoding="utf-8")
    (tmp_path / "s" / "buyer.toml").write_text(text + '\n[as_of]\ndate = "2026-10-31"\n', encoding="utf-8")
    return open_search(tmp_path / "s")


def put(search: Search, **texts: str) -> Added:
    for name, text in texts.items():
        (search.inbox / f"{name}.txt").write_text(text, encoding="utf-8")
    with open_store(search.folder) as store:
        return add(store, list(gather([search.inbox])), search.as_of)


def go(search: Search) -> Result:
    with open_store(search.folder) as store:
        return bring_up_to_date(store, search)


def rows(result: Result) -> list[dict[str, object]]:
    return [as_json(view) for view in result.view.vehicles]


def titles(result: Result) -> Sequence[str]:
    return [view.texts[0].advert_id for view in result.view.vehicles]


def test_nothing_new_reads_nothing_and_gives_the_same(search: Search) -> None:
    put(search, one=ONE, two=TWO)
    first, second = go(search), go(search)
    assert (first.read_now, second.read_now) == (2, 0)
    assert json.dumps(rows(first)) == json.dumps(rows(second))
    assert first.view.changes == () and second.view.changes == ()


def test_one_new_advert_is_one_reading_and_is_said_to_be_new(search: Search) -> None:
    put(search, one=ONE)
    go(search)
    put(search, two=TWO)
    result = go(search)
    assert result.read_now == 1
    assert any(change.startswith("new: 1997 Marrick") for change in result.view.changes)


def test_a_price_change_is_told_and_kept(search: Search) -> None:
    put(search, one=ONE)
    go(search)
    put(search, one=ONE.replace("4,200", "3,700"))
    result = go(search)
    assert any("price down from 4,200 to 3,700" in change for change in result.view.changes)
    (view,) = result.view.vehicles
    assert [point.price for point in view.prices] == [4200, 3700]


def test_the_cheaper_of_two_alike_goes_first(search: Search) -> None:
    other = "Hexham. Our diesel (2.4, five-speed manual) Marrick Dale of 1994, tested to June 2027, 98,000 miles. {}"
    put(search, dear=ONE, cheap=other.format("£3,300"))
    assert titles(go(search)) == ["cheap.txt", "dear.txt"]


def test_a_foreign_price_is_refused_until_the_buyer_states_a_rate(search: Search) -> None:
    put(search, one=ONE.replace("£4,200", "€4,900"))
    (row,) = rows(go(search))
    assert row["visit_worth"] is None and row["sound_value"] is None
    assert any("buyer.toml" in reason for reason in row["reasons"])  # type: ignore[attr-defined]
    with_rate = Search(search.folder, replace(search.buyer, rates={"EUR": 0.86}))
    (row,) = rows(go(with_rate))
    assert row["asking_price"] == pytest.approx(4214)


def test_must_haves_are_left_when_denied_and_asked_when_not_said(search: Search) -> None:
    needs = Search(search.folder, replace(search.buyer, must={"gearbox": ("auto",)}))
    put(search, one=ONE, two=TWO.replace("manual, ", ""))
    views = {view.texts[0].advert_id: view for view in go(needs).view.vehicles}
    assert views["one.txt"].ranked.verdict == "leave"
    assert any("manual or an automatic" in question.text for question in views["two.txt"].ranked.questions)
    assert views["two.txt"].ranked.verdict != "travel"


def test_a_file_that_cannot_be_read_is_kept_and_changes_nothing_else(search: Search) -> None:
    put(search, one=ONE)
    before = rows(go(search))
    (search.inbox / "torn.pdf").write_bytes(b"%PDF-1.7\nnot much")
    added = put(search)
    assert [refusal.source for refusal in added.refusals] == ["torn.pdf"]
    result = go(search)
    assert rows(result) == before
    assert [refusal.source for refusal in result.view.refusals] == ["torn.pdf"]
    kept = [path for path in (search.folder / "raw").rglob("*") if path.is_file()]
    assert any(path.read_bytes().startswith(b"%PDF") for path in kept)


def test_distances_come_from_the_named_place(search: Search) -> None:
    put(search, one=ONE, two=TWO)
    near, far = sorted(view.prospect.distance_miles or 0 for view in go(search).view.vehicles)
    assert 60 < near < 110 and 150 < far < 260


def test_no_advert_is_no_error(search: Search) -> None:
    put(search)
    assert go(search).view.vehicles == ()


def test_no_page_is_replaced_before_all_are_worded(tmp_path: Path) -> None:
    class Torn(dict[str, str]):
        def __getitem__(self, name: str) -> str:
            if name == "two.html":
                raise ValueError("cannot be worded")
            return super().__getitem__(name)

    (tmp_path / "one.html").write_text("old")
    with pytest.raises(ValueError):
        write_files(tmp_path, Torn({"one.html": "new", "two.html": ""}))
    assert [path.name for path in tmp_path.iterdir()] == ["one.html"]
    assert (tmp_path / "one.html").read_text() == "old"
    write_files(tmp_path, {"one.html": "new"})
    assert (tmp_path / "one.html").read_text() == "new"


def test_proof_of_a_mended_write_off_in_the_next_sentence_is_seen(search: Search) -> None:
    off = " This vehicle is recorded CAT S. It was hit in the front in 2022 and repaired at a bodyshop. "
    put(search, bare=ONE + off, proven=TWO + off + "Jig report and repair bill in the folder.")
    flags = {row["advert_ids"][0]: row["flags"] for row in rows(go(search))}  # type: ignore[index]
    assert "writeoff_structural" in flags["bare.txt"]  # type: ignore[operator]
    assert "writeoff_structural" not in flags["proven.txt"] and "writeoff" in flags["proven.txt"]  # type: ignore[operator]
