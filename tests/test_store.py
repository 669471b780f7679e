"""The store: snapshots over time, readings, refusals, runs; nothing acknowledged is lost."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import StoreError
from pipeline.store import Store, open_store, price_points
from pipeline.types import Advert, Claim, Fact, Reading, Refusal, SourceFile, StatedValue

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
    file = SourceFile("a.bin", data, hashlib.sha256(data).hexdigest())
    assert store.keep_raw(file, DAY) is True
    assert store.keep_raw(file, LATER) is False
    assert (tmp_path / "raw" / file.sha256[:2] / file.sha256).read_bytes() == data
    assert not list(tmp_path.rglob("*.part"))


def test_a_refusal_is_kept_once_and_goes_when_the_file_can_be_read(store: Store) -> None:
    refusal = Refusal("broken.pdf", "is cut off", None, "ab")
    store.keep_refusals([refusal, Refusal("t.csv", "no text", 4)], DAY)
    store.keep_refusals([refusal], LATER)
    assert store.refusals() == (refusal, Refusal("t.csv", "no text", 4))
    store.forget_refusals_of("broken.pdf")
    assert [r.source for r in store.refusals()] == ["t.csv"]


def test_a_failed_transaction_leaves_what_was(store: Store) -> None:
    store.keep_refs({"a": "1"})
    with pytest.raises(RuntimeError), store.transaction():
        store._db.execute("DELETE FROM refs")
        raise RuntimeError
    assert store.refs() == {"a": "1"}


def test_runs_keep_their_order(store: Store) -> None:
    assert store.last_results() == []
    rows = [
        ("2", "travel", 900.0, 3000.0, json.dumps({"ref": "2"})),
        ("1", "leave", None, None, json.dumps({"ref": "1"})),
    ]
    assert store.keep_run(DAY, {"rules": "x"}, {"vehicles": 2}, rows) == 1
    assert store.keep_run(LATER, {"rules": "x"}, {"vehicles": 2}, rows[::-1]) == 2
    assert [r["ref"] for r in store.last_results()] == ["1", "2"]


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
