"""`doctor` names what is wrong, `--rebuild` brings everything back from the files, `forget` leaves no trace."""

import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from pipeline.doctor import BEFORE, examine, forget, rebuild
from pipeline.errors import BusyError, StoreError, UsageError
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.store import DATABASE, Store, open_store
from pipeline.store.runs import Row
from pipeline.types import Fact, Note, Reading

DAY, LATER = date(2026, 10, 1), date(2026, 10, 20)
SECRET = "ring 01632 960777"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    inbox = tmp_path / "s" / "inbox"
    inbox.mkdir(parents=True)
    (inbox / "a.txt").write_text(f"Marrick Dale van, £2,000, {SECRET}", encoding="utf-8")
    (inbox / "b.txt").write_text("Marrick Dale pickup, £3,000", encoding="utf-8")
    (inbox / "torn.pdf").write_bytes(b"%PDF-1.7 torn")
    table = '{"id": "t1", "text": "first of two, £900"}\n{"id": "t2", "text": "second of two, £950"}\n'
    (inbox / "two.jsonl").write_text(table, encoding="utf-8")
    with open_store(tmp_path / "s") as store:
        add(store, gather([inbox]), DAY)
        (inbox / "b.txt").write_text("Marrick Dale pickup, £2,700", encoding="utf-8")
        add(store, gather([inbox]), LATER)
        reading = Reading((Fact("asking_price", 2000, "£2,000", 18, 24, "r"),), ())
        store.keep_readings({s.snapshot_id: reading for s in store.snapshots()}, "v1")
        store.keep_refs({advert_id: str(number) for advert_id, number in store.advert_numbers().items()})
        store.keep_apart([("a.txt", "b.txt")], LATER)
        store.keep_note(Note(0, "a.txt", LATER, "call", text="rang, belt done"))
        store.keep_run(LATER, {}, {"vehicles": 4}, [Row("1", "A van", "travel", 1.0, 2000.0, (), "{}", SECRET)])
    return tmp_path / "s"


def state(store: Store) -> object:
    snapshots = [(s.advert, s.saved_on, s.first_seen, s.last_seen) for s in store.snapshots()]
    return snapshots, store.advert_numbers(), store.refusals(), store.apart(), store.notes(), store.last_runs()


def test_all_is_well_and_the_counts_are_told(folder: Path) -> None:
    report = examine(folder)
    assert report.troubles == ()
    assert (report.counts["adverts"], report.counts["snapshots"], report.counts["files"]) == (4, 5, 5)
    assert len(report.runs) == 1 and "4 vehicles" in report.runs[0]


@pytest.mark.parametrize(
    ("harm", "says"),
    [
        ("UPDATE snapshots SET text = 'other words' WHERE advert_id = 'a.txt'", "text of a.txt is not what was stored"),
        ("DELETE FROM adverts WHERE advert_id = 'b.txt'", "2 rows of snapshots name a advert_id"),
        ("DELETE FROM readings", "rows of facts name a snapshot_id"),
        ("UPDATE snapshots SET last_seen = DATE '2020-01-01' WHERE advert_id = 'a.txt'", "last seen before"),
        ("DELETE FROM notes; INSERT INTO note_readings VALUES (9, 'v', '{}')", "rows of note_readings"),
    ],
)
def test_each_harm_to_a_row_is_named(folder: Path, harm: str, says: str) -> None:
    with open_store(folder) as store:
        store._db.execute(harm)
    assert any(says in line for line in examine(folder).troubles)


def test_harm_to_raw_files_is_named(folder: Path) -> None:
    with open_store(folder) as store:
        (raw,) = store.raw_of(["a.txt"])
        path = store.raw_path(raw)
    data = path.read_bytes()
    path.write_bytes(data.replace(b"2,000", b"1,000"))
    assert any("a.txt is no longer what was kept" in line for line in examine(folder).troubles)
    path.unlink()
    assert any("raw file of a.txt is missing" in line for line in examine(folder).troubles)
    (path.parent / "x.1.part").write_bytes(b"half")
    assert any("x.1.part was left" in line for line in examine(folder).troubles)


@pytest.mark.parametrize("damage", ["none", "bytes", "gone"])
def test_rebuilt_from_the_files_it_is_what_it_was(folder: Path, damage: str) -> None:
    with open_store(folder) as store:
        before = state(store)
    if damage == "bytes":
        (folder / DATABASE).write_bytes(b"no database" * 2000)
        with pytest.raises(StoreError, match="--rebuild"):
            examine(folder)
    elif damage == "gone":
        (folder / DATABASE).unlink()
    built = rebuild(folder)
    assert (built.unreadable is None) == (damage == "none")
    assert (built.added.new, built.added.changed, len(built.added.refusals)) == (4, 1, 1)
    with open_store(folder) as store:
        after = state(store)
    if damage == "none":
        assert after == before
        assert {"notes", "runs", "results"} <= set(built.carried)
    else:
        assert after[:4] == before[:4]  # type: ignore[index]
    assert examine(folder).troubles == ()
    assert (folder / BEFORE).exists() == (damage != "gone")


def test_a_copy_of_the_folder_is_a_backup(folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "backup")
    shutil.rmtree(folder)
    shutil.copytree(tmp_path / "backup", folder)
    assert examine(folder).troubles == ()
    with open_store(folder) as store:
        assert add(store, gather([folder / "inbox"]), LATER).new == 0


def test_who_is_at_work_here_is_named(folder: Path) -> None:

    hold = (
        "import sys, pathlib; from pipeline.store import open_store\n"
        "with open_store(pathlib.Path(sys.argv[1])): print('open', flush=True); sys.stdin.read()"
    )
    holder = subprocess.Popen([sys.executable, "-c", hold, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    try:
        assert holder.stdout is not None and holder.stdout.readline().strip() == b"open"
        with pytest.raises(BusyError, match=f"process {holder.pid}"), open_store(folder, wait_seconds=0.3):
            pass
    finally:
        holder.communicate()
    with open_store(folder, wait_seconds=0.3) as store:
        assert store.advert_numbers()


def everything(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


def test_what_is_forgotten_is_nowhere_and_does_not_come_back(folder: Path) -> None:
    (folder / "reports").mkdir(exist_ok=True)
    (folder / "reports" / "ranking.html").write_text(SECRET, encoding="utf-8")
    assert SECRET.encode() in everything(folder)
    done = forget(folder, "1", LATER)
    assert (done.adverts, done.raw_files, done.inbox_files) == (("a.txt",), 1, ("inbox/a.txt",))
    assert SECRET.encode() not in everything(folder), "not in the database's free blocks either"
    assert examine(folder).troubles == ()
    with open_store(folder) as store:
        assert list(store.advert_numbers()) == ["b.txt", "t1", "t2"]
        assert store.notes() == [] and store.apart() == frozenset() and store.last_results() == []
        (folder / "inbox" / "again.txt").write_text(f"Marrick Dale van, £2,000, {SECRET}", encoding="utf-8")
        (folder / "inbox" / "new.txt").write_text("another van, £1,000", encoding="utf-8")
        added = add(store, gather([folder / "inbox"]), LATER)
        assert (added.new, added.forgotten) == (1, 1)
        assert store.advert_numbers()["new.txt"] == 5, "the number of a forgotten advert is not given again"
    rebuild(folder)
    with open_store(folder) as store:
        assert "a.txt" not in store.advert_numbers()


def test_a_file_with_other_adverts_goes_whole_or_not_at_all(folder: Path) -> None:
    with pytest.raises(UsageError, match=r"1 other adverts too \(t2\).*--whole-file"):
        forget(folder, "t1", LATER)
    assert forget(folder, "t1", LATER, whole_file=True).adverts == ("t1", "t2")
    assert forget(folder, "torn.pdf", LATER).raw_files == 1
    with pytest.raises(UsageError, match="no vehicle, advert or refused file"):
        forget(folder, "99", LATER)
    assert examine(folder).troubles == ()
