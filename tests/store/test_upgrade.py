"""A database of every earlier schema is brought up to date with nothing lost."""

from pathlib import Path

import pytest
from make_samples import RAW, RAW_SHA, SAMPLES, TEXT, sample

from pipeline.doctor import examine, rebuild
from pipeline.store import DATABASE, open_store
from pipeline.store.migrations import MIGRATIONS


@pytest.fixture(params=range(1, len(MIGRATIONS) + 1))
def folder(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    sample(request.param, tmp_path / DATABASE)
    raw = tmp_path / "raw" / RAW_SHA[:2] / RAW_SHA
    raw.parent.mkdir(parents=True)
    raw.write_bytes(RAW)
    return tmp_path


def test_the_first_schemas_are_stored_as_their_versions_wrote_them() -> None:
    assert (SAMPLES / "schema-1.duckdb.gz").exists()


def test_every_earlier_schema_is_brought_up_to_date(folder: Path) -> None:
    with open_store(folder) as store:
        assert store.schema() == len(MIGRATIONS)
        texts = [(s.advert.text, s.advert.place, s.advert.distance_miles) for s in store.snapshots()]
        assert texts == [(TEXT.format("2,000"), "Hexham", 12.5), (TEXT.format("1,900"), "Hexham", 12.5)]
        assert store.readings()[1].fact("asking_price") == 2000
        assert [claim.subject for claim in store.readings()[1].claims] == ["sills"]
        assert [r.source for r in store.refusals()] == ["torn.pdf"]
        assert [run.counts for run in store.last_runs()] == [{"vehicles": 1}]
        assert store.last_results() == [{"ref": "1"}]
        assert len(store.notes()) in (0, 1)
    with open_store(folder) as store:
        assert store.counts()["migrations"] == len(MIGRATIONS), "once is enough"
    assert examine(folder).troubles == ()


def test_a_search_folder_from_before_the_journal_can_be_rebuilt(folder: Path) -> None:
    with open_store(folder) as store:
        notes = store.notes()
        assert [entry[1:3] for entry in store.journalled()] == [(RAW_SHA, "a.txt")]
    rebuild(folder)
    with open_store(folder) as store:
        assert [s.advert.text for s in store.snapshots()] == [TEXT.format("2,000")]
        assert store.notes() == notes
