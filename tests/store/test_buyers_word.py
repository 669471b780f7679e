"""Links that the buyer undoes stay undone; the commands for it, for forgetting and for the doctor."""

import json
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.doctor import rebuild
from pipeline.errors import UsageError
from pipeline.held_readings import HeldReadings
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.paths import data_folder
from pipeline.schemas.notes import load_note_rules
from pipeline.search import start_search
from pipeline.store import Store, open_store
from pipeline.types import Fact, Reading
from pipeline.unlinking import unlink
from pipeline.vehicles import vehicles

DAY, LATER = date(2026, 10, 1), date(2026, 12, 15)
TEXT = (
    "Marrick Dale van, one careful owner since 2009, sills done by a good man in Alston two winters ago, belt at "
    "98,000, gas checked in spring, two small dents in the sliding door from the gatepost. {} ring after six."
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    start_search(tmp_path / "s", home="Skipton")
    for name, price in (("a", "£4,200"), ("b", "£3,950"), ("c", "£3,700")):
        (tmp_path / "s" / "inbox" / f"{name}.txt").write_text(TEXT.format(price), encoding="utf-8")
    with open_store(tmp_path / "s") as store:
        add(store, gather([tmp_path / "s" / "inbox"]), DAY)
        mileage = Fact("mileage", 98000, "98,000", 0, 1, "r")
        store.keep_readings({s.snapshot_id: Reading((mileage,), ()) for s in store.snapshots()}, "v")
    return tmp_path / "s"


def held(store: Store) -> HeldReadings:
    return HeldReadings(store, store.snapshots(), (), load_note_rules(data_folder("rules")))


def linked(store: Store, day: date = DAY) -> dict[str, list[str]]:
    found = vehicles(store, store.snapshots(), held(store), day)
    return {one.ref: sorted(s.advert.advert_id for s in one.newest) for one in found}


def test_an_undone_link_stays_undone_and_can_be_taken_back(folder: Path) -> None:
    with open_store(folder) as store:
        assert linked(store) == {"1": ["a.txt", "b.txt", "c.txt"]}
        assert unlink(store, "1", "b.txt", DAY) == ("a.txt", "c.txt")
        assert linked(store) == {"1": ["a.txt", "c.txt"], "2": ["b.txt"]}
    with open_store(folder) as store:
        assert linked(store) == {"1": ["a.txt", "c.txt"], "2": ["b.txt"]}, "the next run respects it"
        with pytest.raises(UsageError, match="not linked"):
            unlink(store, "1", "b.txt", DAY)
        with pytest.raises(UsageError, match="no advert is called"):
            unlink(store, "1", "z.txt", DAY)
        with pytest.raises(UsageError, match="no vehicle has the number"):
            unlink(store, "9", "b.txt", DAY)
    rebuild(folder)
    with open_store(folder) as store:
        store.keep_readings({n: Reading((), ()) for n in store.unread("v")}, "v")
        assert "2" in linked(store), "a rebuilt database knows it too"
        assert unlink(store, "1", "b.txt", DAY, undo=True) == ("a.txt", "c.txt")
        assert linked(store) == {"1": ["a.txt", "b.txt", "c.txt"]}
        with pytest.raises(UsageError, match="not kept apart"):
            unlink(store, "1", "b.txt", DAY, undo=True)


def test_one_that_was_not_seen_for_long_is_probably_gone_and_kept(folder: Path) -> None:
    with open_store(folder) as store:
        assert [v.gone for v in vehicles(store, store.snapshots(), held(store), DAY)] == [False]
        assert [v.gone for v in vehicles(store, store.snapshots(), held(store), LATER)] == [True]
        assert len(store.snapshots()) == 3


def run(folder: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, [*words, "--search", str(folder)])
    return done.exit_code, done.output


def test_the_commands(folder: Path) -> None:
    with open_store(folder) as store:
        linked(store)
    code, said = run(folder, "unlink", "1", "b.txt")
    assert code == 0 and "b.txt is kept apart from a.txt, c.txt" in said
    code, said = run(folder, "doctor")
    assert code == 0 and "All is well." in said and "3 adverts" in said
    code, said = run(folder, "forget", "b.txt")
    assert code == 0 and "1 raw files removed" in said and "Removed inbox/b.txt" in said
    code, said = run(folder, "doctor", "--json")
    assert code == 0 and json.loads(said)["counts"]["adverts"] == 2
    next((folder / "raw").glob("??/*")).write_bytes(b"other")
    code, said = run(folder, "doctor")
    assert code == 1 and "no longer what was kept" in said and "1 troubles." in said
    code, said = run(folder, "doctor", "--rebuild")
    assert code == 1 and "Built anew" in said and "1 refused" in said
