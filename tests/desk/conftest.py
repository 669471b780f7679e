"""Desks under test: one for the whole session to look at, one for each test that changes something."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_running import Running, make_search, running

from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.search import open_search
from pipeline.store import open_store


@pytest.fixture(scope="session")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A desk for those who only look or are turned away; it is entered."""
    folder = make_search(tmp_path_factory.mktemp("looked") / "s")
    with running(folder) as desk:
        desk.enter()
        yield desk


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Running]:
    """A desk of one's own, entered, with both adverts read."""
    folder = make_search(tmp_path / "s")
    with open_store(folder) as store:
        add(store, gather([folder / "inbox"]), open_search(folder).as_of)
    with running(folder) as found:
        found.enter()
        yield found
