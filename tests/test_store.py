"""The store: snapshots over time, readings, refusals, runs; nothing acknowledged is lost."""

import hashlib
import json
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import StoreError
from pipeline.store import Store, Taken, open_store, price_points
from pipeline.store.runs import Row, Source
from pipeline.types import Advert, Claim, Fact, Ingested, Reading, Refusal, SourceFile, StatedValue

DAY, LATER = date(2026, 10, 1), date(2026, 10, 20)
ADVERT = Advert(
    advert_id="kelso-1",
    text="Marrick Dale van, £2,400",
    source="kelso.txt",
    raw_sha256="00",
    reader="text",
    saved_on=DAY,
    place="Kelso",
    distance_miles=41.5,
    stated=(StatedValue("asking_price", 2400, "column price"),),
)
READING = Reading(
    facts=(
        Fact("asking_price", 2400, "£2,400", 18, 24, "price.symbol"),
        Fact("year", [1995, 1996], "N reg", 0, 5, "y"),
    ),
    claims=(Claim("sills", "absent", "plain", "sills solid", 3, 14, "sills.part", at_year=2021, confidence=0.8),),
    rivals=(Fact("asking_price", 3000, "£3,000", 30, 36, "price.symbol", 0.2),),
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


def test_an_advert_comes_back_as_it_went_in(store: Store) -> None:
    assert store.keep_advert(ADVERT, LATER) == "new"
    (snapshot,) = store.snapshots()
    assert snapshot.advert == replace(ADVERT, saved_on=DAY)
    assert (snapshot.saved_on, snapshot.first_seen, snapshot.last_seen) == (DAY, DAY, DAY)


def test_same_again_is_one_snapshot_and_a_changed_price_is_a_second(store: Store) -> None:
    store.keep_advert(ADVERT, DAY)
    assert store.keep_advert(replace(ADVERT, saved_on=LATER), LATER) == "same"
    cheaper = replace(ADVERT, text="Marrick Dale van, £2,100", saved_on=LATER)
    assert store.keep_advert(cheaper, LATER) == "changed"
    snapshots = store.snapshots()
    assert [s.advert.text for s in snapshots] == [ADVERT.text, cheaper.text]
    assert snapshots[0].last_seen == LATER
    assert list(store.advert_numbers()) == ["kelso-1"]


def test_a_changed_table_column_is_a_new_snapshot_too(store: Store) -> None:
    store.keep_advert(ADVERT, DAY)
    changed = replace(ADVERT, stated=(StatedValue("asking_price", 2100, "column price"),))
    assert store.keep_advert(changed, LATER) == "changed"


def test_readings_keep_types_order_and_rivals(store: Store) -> None:
    store.keep_advert(ADVERT, DAY)
    (snapshot,) = store.snapshots()
    assert store.unread("v1") == {snapshot.snapshot_id}
    store.keep_readings({snapshot.snapshot_id: READING}, "v1")
    assert store.readings() == {snapshot.snapshot_id: READING}
    assert store.unread("v1") == set()
    assert store.unread("v2") == {snapshot.snapshot_id}
    store.keep_readings({snapshot.snapshot_id: Reading((), ())}, "v2")
    assert store.readings() == {snapshot.snapshot_id: Reading((), ())}


def test_price_history_lists_each_price_once(store: Store) -> None:
    prices = [2400, 2400, 2100]
    for day, price in enumerate(prices, 1):
        store.keep_advert(replace(ADVERT, text=f"version {day}", saved_on=date(2026, 10, day)), DAY)
        (newest,) = [s for s in store.snapshots() if s.advert.text == f"version {day}"]
        fact = Fact("asking_price", price, "", 0, 0, "r")
        store.keep_readings({newest.snapshot_id: Reading((fact,), ())}, "v1")
    points = price_points(store.snapshots(), store.readings())
    assert [(p.day.day, p.price) for p in points] == [(1, 2400), (3, 2100)]


def test_raw_bytes_are_kept_once_under_their_hash(store: Store, tmp_path: Path) -> None:
    data = b"advert \x00\xff"
    file = SourceFile("a.bin", data, hashlib.sha256(data).hexdigest(), DAY)
    store.keep_raw([file], DAY)
    store.keep_raw([file], LATER)
    assert (tmp_path / "raw" / file.sha256[:2] / file.sha256).read_bytes() == data
    assert store.journalled() == [(DAY, file.sha256, "a.bin", DAY), (LATER, file.sha256, "a.bin", DAY)]
    assert not list(tmp_path.rglob("*.part"))
    assert store.raw_file(file.sha256, "a.bin", DAY) == file
    (tmp_path / "raw" / file.sha256[:2] / file.sha256).write_bytes(b"other bytes")
    assert store.raw_file(file.sha256, "a.bin") is None, "what is no longer what was kept is not taken for it"
    store.keep_raw([file], LATER)
    assert store.raw_file(file.sha256, "a.bin", DAY) == file, "and is mended when the file comes again"


def test_a_line_of_the_journal_that_was_cut_off_is_no_line(store: Store) -> None:
    store.journal.append([{"what": "file", "day": DAY, "sha256": "a", "name": "a", "modified": None}])
    with store.journal.path.open("ab") as handle:
        handle.write(b'{"what": "file", "day": "2026-1')
    assert len(store.journal.lines()) == 1
    store.journal.append([{"what": "file", "day": LATER, "sha256": "b", "name": "b", "modified": None}])
    assert [line["name"] for line in store.journal.lines()] == ["a", "b"]


def test_a_refusal_is_kept_once_and_goes_when_the_file_can_be_read(store: Store) -> None:
    refusal = Refusal("broken.pdf", "is cut off", None, "ab")
    store.keep_refusals(
        [refusal, Refusal("t.csv", "no text", 4), Refusal("z.zip#in.pdf", "is cut off", None, "cd")], DAY
    )
    store.keep_refusals([refusal], LATER)
    assert [r.source for r in store.refusals()] == ["broken.pdf", "t.csv", "z.zip#in.pdf"]
    whole = SourceFile("broken.pdf", b"whole", "ef"), Ingested((ADVERT,), ())
    packed = SourceFile("z.zip", b"again", "01"), Ingested((), (Refusal("z.zip#b.pdf", "is cut off", None, "01"),))
    store.keep_taken([whole, packed], "reader 1", LATER)
    assert [r.source for r in store.refusals()] == ["t.csv", "z.zip#b.pdf"]
    assert store.taken()["ef"] == Taken("broken.pdf", None, "reader 1", 1, 0)
    assert [r.source for r in store.refusals_of("01")] == ["z.zip#b.pdf"]


def test_many_adverts_are_one_statement_each_way(store: Store) -> None:
    many = [replace(ADVERT, advert_id=f"a{n}", text=f"van {n}") for n in range(5000)]
    began = time.perf_counter()
    assert set(store.keep_adverts(many, DAY)) == {"new"}
    assert set(store.keep_adverts(many, LATER)) == {"same"}
    assert time.perf_counter() - began < 10, "5,000 adverts row by row take a minute"
    assert list(store.advert_numbers().values()) == list(range(1, 5001))
    assert [s.advert.text for s in store.snapshots()[:3]] == ["van 0", "van 1", "van 2"]


def test_one_advert_several_times_in_one_go(store: Store) -> None:
    other = replace(ADVERT, text="Marrick Dale van, £2,100", saved_on=LATER)
    assert store.keep_adverts([ADVERT, other, ADVERT, other], DAY) == ["new", "changed", "same", "same"]
    assert [s.advert.text for s in store.snapshots()] == [ADVERT.text, other.text]


def test_back_to_the_old_price_is_a_change_too(store: Store) -> None:
    days = [DAY, date(2026, 10, 5), LATER]
    texts = ["£2,400", "£2,100", "£2,400"]
    done = [store.keep_advert(replace(ADVERT, text=t, saved_on=d), d) for t, d in zip(texts, days, strict=True)]
    assert done == ["new", "changed", "changed"]
    assert [s.advert.text for s in store.snapshots()] == texts
    assert store.keep_advert(replace(ADVERT, text=texts[2]), LATER) == "same"


def test_pairs_that_the_buyer_keeps_apart(store: Store) -> None:
    store.keep_apart([("b", "a"), ("c", "a")], DAY)
    assert store.apart() == {("a", "b"), ("a", "c")}
    store.keep_apart([("a", "c")], LATER, apart=False)
    assert store.apart() == {("a", "b")}
    assert [line["what"] for line in store.journal.lines()] == ["apart", "apart", "together"]


def test_a_failed_transaction_leaves_what_was(store: Store) -> None:
    store.keep_refs({"a": "1"})
    with pytest.raises(RuntimeError), store.transaction():
        store._db.execute("DELETE FROM refs")
        raise RuntimeError
    assert store.refs() == {"a": "1"}


def test_runs_keep_their_order(store: Store) -> None:
    assert store.last_results() == []
    rows = [
        Row("2", "Two", "travel", 900.0, 3000.0, (Source("a", "a.txt"),), json.dumps({"ref": "2"}), "two"),
        Row("1", "One", "leave", None, None, (), json.dumps({"ref": "1"}), "one"),
        Row("3", "Sold", "leave", None, None, (), json.dumps({"ref": "3"}), "three", apart=True),
    ]
    assert store.keep_run(DAY, {"rules": "x"}, {"vehicles": 2}, rows) == 1
    assert store.keep_run(LATER, {"rules": "x"}, {"vehicles": 2}, rows[::-1]) == 2
    assert [r["ref"] for r in store.last_results()] == ["1", "2"]
    assert [(row.ref, row.apart) for row in store.rows()] == [("1", False), ("2", False), ("3", True)]
    assert store.rows("2") == [rows[0]]
    assert [(run.number, run.as_of) for run in store.last_runs()] == [(2, LATER), (1, DAY)]


def test_what_was_told_is_replaced(store: Store) -> None:
    assert store.told("digest") is None
    store.keep_told("digest", DAY, {"a": 1})
    store.keep_told("digest", LATER, {"a": 2})
    assert store.told("digest") == {"a": 2}


def test_inputs_change_with_what_comes_in_and_not_with_what_is_made_of_it(store: Store) -> None:
    empty = store.inputs()
    store.keep_run(DAY, {}, {}, [])
    store.keep_refs({"a": "1"})
    assert store.inputs() == empty
    store.keep_advert(ADVERT, DAY)
    assert store.inputs() != empty


def test_what_was_stored_is_there_after_closing(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.keep_advert(ADVERT, DAY)
        store.keep_links([("kelso-1", "kelso-2", "same plate", 1.0)])
    with open_store(tmp_path, create=False) as store:
        assert len(store.snapshots()) == 1
        assert store.links() == [("kelso-1", "kelso-2", "same plate", 1.0)]


@pytest.mark.parametrize("kind", ["parquet", "csv", "jsonl"])
def test_export_writes_every_table_and_no_formula(store: Store, tmp_path: Path, kind: str) -> None:
    store.keep_advert(replace(ADVERT, title="=1+1", text="=HYPERLINK(1)"), DAY)
    paths = store.export(tmp_path / "out", kind)  # type: ignore[arg-type]
    assert all(path.exists() for path in paths)
    if kind == "csv":
        text = (tmp_path / "out" / "snapshots.csv").read_text(encoding="utf-8")
        assert "'=HYPERLINK(1)" in text and "'=1+1" in text and ",=" not in text


def test_errors_are_lines_for_the_user(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="nothing has been added"), open_store(tmp_path, create=False):
        pass
    with open_store(tmp_path) as store:
        store._db.execute("INSERT INTO migrations VALUES (999, NULL)")
    with pytest.raises(StoreError, match="Install the newer viewworthy"), open_store(tmp_path):
        pass
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "viewworthy.duckdb").write_bytes(b"not a database" * 1000)
    with pytest.raises(StoreError, match="cannot be opened"), open_store(tmp_path / "x"):
        pass


def test_a_text_cannot_reach_the_file_system(store: Store) -> None:
    with pytest.raises(duckdb.Error):
        store._db.execute("SELECT * FROM read_csv('/etc/hostname')")
