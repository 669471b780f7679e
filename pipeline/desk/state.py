"""What the desk holds between requests: the search folder, the newest view of it, and the worker."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pipeline.desk.work import Job, Worker
from pipeline.intake import Progress
from pipeline.notes.record import Recorder
from pipeline.notes.session import Told, everything
from pipeline.run import bring_up_to_date
from pipeline.search import Search, open_search
from pipeline.store import DATABASE, Store, open_store
from pipeline.types import Reading, ReportView, VehicleView


@dataclass(frozen=True)
class Seen:
    """A view of the search and what it was made from."""

    search: Search
    view: ReportView
    note_readings: dict[int, Reading]
    recorder: Recorder
    stamp: tuple[object, ...]

    def vehicle(self, ref: str) -> VehicleView | None:
        return next((v for v in everything(self.view) if v.ref == ref), None)


class Desk:
    """One search folder. The store is opened for a piece of work and closed after it, so that commands can run too."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.worker = folder, Worker()
        self.seen: Seen | None = None
        self.buyer_lock = threading.Lock()

    def stamp(self) -> tuple[object, ...]:
        """What changes when a command or another program changes the search."""
        found: list[object] = []
        for name in (DATABASE, "buyer.toml"):
            try:
                about = (self.folder / name).stat()
                found.append((about.st_mtime_ns, about.st_size))
            except OSError:
                found.append(None)
        return tuple(found)

    @property
    def stale(self) -> bool:
        return self.seen is None or self.seen.stamp != self.stamp()

    @contextmanager
    def open(self) -> Iterator[tuple[Store, Search]]:
        """The store and the search as buyer.toml stands now. For the worker's thread alone."""
        search = open_search(self.folder)
        with open_store(self.folder) as store:
            yield store, search

    def look(self, job: Job, progress: Progress) -> None:
        """Brings the view up to date."""
        with self.open() as (store, search):
            view = bring_up_to_date(store, search, progress, command="desk").view
            readings = store.note_readings()
        self._keep(search, view, readings)

    def looked(self, search: Search, told: Told, readings: dict[int, Reading]) -> None:
        """Takes the view that a recording has made."""
        self._keep(search, told.view, readings)

    def _keep(self, search: Search, view: ReportView, readings: dict[int, Reading]) -> None:
        self.seen = Seen(search, view, readings, self.recorder(search), self.stamp())

    def recorder(self, search: Search) -> Recorder:
        """The words of the search; the one that is there where the search is as it was, for it takes time to load."""
        seen = self.seen
        return seen.recorder if seen and seen.search == search else Recorder(search)

    def refresh(self) -> Job:
        """The job that brings the view up to date: the one that is under way, or a new one."""
        busy = self.worker.busy
        return busy or self.worker.add("Bringing the ranking up to date", self.look)
