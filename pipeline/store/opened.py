"""The store whole: all its parts in one class, opened for one command and closed after it.

DuckDB allows one writing process at a time. Raw files stand beside the database under their SHA-256 and are written
before anything is parsed.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb

from pipeline.errors import BusyError, StoreError
from pipeline.store.adverts import Adverts
from pipeline.store.copying import Copying
from pipeline.store.export import Export
from pipeline.store.files import Files
from pipeline.store.forget import Forget
from pipeline.store.health import Health
from pipeline.store.migrations import MIGRATIONS
from pipeline.store.notes import Notes
from pipeline.store.ranking import DATABASE
from pipeline.store.readings import Readings
from pipeline.store.runs import Runs
from pipeline.store.vehicles import Vehicles

_HEADERS = 3 * 4096  # bytes with which every database file begins (DuckDB's storage format)
MOST_MEMORY = "25%"  # of the machine's: the rest is for what is made of the rows; what is more goes to the disk
_MAKING = 2.0  # seconds in which another process has written them


class Store(Forget, Health, Copying, Files, Adverts, Readings, Notes, Vehicles, Runs, Export):
    """Typed reads and writes on one search folder. Use through `open_store`."""

    def migrate(self) -> None:
        """Brings the schema up to date. Raises StoreError when the database is newer than this program."""
        self._db.execute("CREATE TABLE IF NOT EXISTS migrations (number INTEGER PRIMARY KEY, applied TIMESTAMP)")
        done = self._one("SELECT coalesce(max(number), 0) FROM migrations")
        if done > len(MIGRATIONS):
            raise StoreError(
                f"the database has schema {done}, this program knows {len(MIGRATIONS)}",
                where=str(self.folder),
                remedy="Install the newer viewworthy that made it.",
            )
        for number in range(done + 1, len(MIGRATIONS) + 1):
            with self.transaction():
                self._db.execute(MIGRATIONS[number - 1])
                self._db.execute("INSERT INTO migrations VALUES (?, now()::TIMESTAMP)", [number])
            self._db.execute("CHECKPOINT")
        self._journal_old_files()

    def _journal_old_files(self) -> None:
        """Search folders from before there was a journal get one, so that they can be rebuilt too."""
        if not self.journal.path.exists():
            rows = self._db.execute("SELECT sha256, name, modified, first_seen FROM files ORDER BY rowid").fetchall()
            self.journal.append(
                [{"what": "file", "day": r[3], "sha256": r[0], "name": r[1], "modified": r[2]} for r in rows]
            )


@contextmanager
def open_store(
    folder: Path, *, wait_seconds: float = 30.0, create: bool = True, name: str = DATABASE
) -> Iterator[Store]:
    """The store of a search folder, migrated; closed afterwards.

    Waits while another process writes, up to `wait_seconds`. Raises StoreError when it is still busy, missing
    (with `create=False`), damaged, or newer than this program, and when the disk fails or is full.
    """
    path = folder / name
    if not create and not path.exists():
        raise StoreError("nothing has been added here yet", where=str(folder), remedy="Run 'viewworthy add' first.")
    connection = _connect(path, wait_seconds)
    try:
        store = Store(connection, folder)
        store.migrate()
        yield store
        connection.execute("CHECKPOINT")
    except (duckdb.IOException, duckdb.InternalException, duckdb.FatalException, duckdb.OutOfMemoryException) as error:
        raise StoreError(
            f"the database cannot be read or written ({_first_line(error)})",
            where=str(path),
            remedy="Make room on the disk and try again; 'viewworthy doctor' says whether all is well.",
        ) from error
    finally:
        connection.close()


def _connect(path: Path, wait_seconds: float) -> duckdb.DuckDBPyConnection:
    settings: dict[str, Any] = {
        "enable_external_access": "false",
        "lock_configuration": "true",
        "threads": "2",
        "memory_limit": MOST_MEMORY,
    }
    begun, pause = time.monotonic(), 0.05
    deadline = begun + wait_seconds
    while True:
        try:
            return duckdb.connect(str(path), config=settings)
        except duckdb.Error as error:
            if _unfinished(path) and time.monotonic() < begun + min(wait_seconds, _MAKING):
                time.sleep(pause)
                continue
            if not (isinstance(error, duckdb.IOException) and "lock" in str(error).lower()):
                raise StoreError(
                    f"cannot be opened ({_first_line(error)})",
                    where=str(path),
                    remedy="Check that the folder can be written. If the file is damaged: viewworthy doctor --rebuild",
                ) from error
            if time.monotonic() > deadline:
                holder = re.search(r"PID (\d+)", str(error))
                who = f" (process {holder[1]})" if holder else ""
                raise BusyError(
                    f"another viewworthy{who} is at work here",
                    where=str(path),
                    remedy="Wait for it to end and try again.",
                ) from error
            time.sleep(pause)
            pause = min(pause * 2, 1.0)


def _unfinished(path: Path) -> bool:
    """Whether the file has not even its headers: another process may be making it at this moment."""
    try:
        return path.stat().st_size < _HEADERS
    except OSError:
        return False


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]
