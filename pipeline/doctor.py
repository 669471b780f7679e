"""Says whether a search folder is whole, builds its database anew from what was saved, and forgets an advert."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pipeline.errors import BusyError, StoreError, UsageError
from pipeline.intake import Added, Progress, quiet, replay
from pipeline.store import DATABASE, Store, open_store
from pipeline.store.copying import FROM_FILES

NEW, BEFORE = "viewworthy.new.duckdb", "viewworthy.before.duckdb"


@dataclass(frozen=True, slots=True)
class Report:
    """What `doctor` found: counts a table, the last runs, and what is not as it should be."""

    schema: int
    counts: dict[str, int]
    runs: tuple[str, ...]
    troubles: tuple[str, ...]


def examine(folder: Path) -> Report:
    """Looks at every raw file, row and key. Changes nothing. Raises StoreError when the database cannot be opened."""
    with open_store(folder, create=False) as store:
        troubles = [*store.troubles(), *_left_over(folder)]
        runs = tuple(
            f"run {run.number}: {run.started:%Y-%m-%d %H:%M}{f' by {run.command}' if run.command else ''}, "
            f"as of {run.as_of}, {sum(run.seconds.values()):.1f} s, "
            + ", ".join(f"{count} {what}" for what, count in run.counts.items())
            for run in store.last_runs(5)
        )
        return Report(store.schema(), store.counts(), runs, tuple(troubles))


def _left_over(folder: Path) -> Iterator[str]:
    for part in sorted((folder / "raw").rglob("*.part")):
        yield f"{part.relative_to(folder)} was left by a run that was ended; it can be deleted"


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What came back from the files, which tables were taken over, and why the old database could not be read."""

    added: Added
    carried: tuple[str, ...]
    unreadable: str | None
    before: Path | None  # the old database, kept


def rebuild(folder: Path, progress: Progress = quiet) -> Rebuilt:
    """A new database from the raw files and the journal; what only the old one knew is taken over where it can be.

    The old database is kept beside it. Raises BusyError when another process works there, StoreError when there is
    no journal to build from.
    """
    old: Store | None = None
    trouble = None
    with _old(folder) as (store, error):
        old, trouble = store, error
        _clear(folder, NEW)
        with open_store(folder, name=NEW) as new:
            if not new.journal.path.exists():
                raise StoreError("there is nothing to rebuild from (raw/journal.jsonl is missing)", where=str(folder))
            if old is not None:
                new.copy_from(old, leaving=set(old.counts()) - {"forgotten"})
            added = replay(new, old.advert_numbers() if old else {}, progress)
            carried = new.copy_from(old, leaving=FROM_FILES) if old else []
    before = folder / BEFORE if (folder / DATABASE).exists() else None
    _put_in_place(folder, keep=True)
    return Rebuilt(added, tuple(name for name in carried), trouble, before)


@contextmanager
def _old(folder: Path) -> Iterator[tuple[Store | None, str | None]]:
    """The present database, held so that nobody else writes to it; or why it cannot be read."""
    try:
        opened = open_store(folder, create=False)
        store = opened.__enter__()
    except BusyError:
        raise
    except StoreError as error:
        yield None, str(error)
        return
    try:
        yield store, None
    finally:
        opened.__exit__(None, None, None)


def _clear(folder: Path, name: str) -> None:
    for path in (folder / name, folder / f"{name}.wal"):
        path.unlink(missing_ok=True)


def _put_in_place(folder: Path, keep: bool) -> None:
    """The new database takes the place of the old one, whose log must not be played into it."""
    if keep:
        _clear(folder, BEFORE)
        for end in ("", ".wal"):
            if (folder / f"{DATABASE}{end}").exists():
                (folder / f"{DATABASE}{end}").replace(folder / f"{BEFORE}{end}")
    else:
        (folder / f"{DATABASE}.wal").unlink(missing_ok=True)
    (folder / NEW).replace(folder / DATABASE)


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What `forget` removed."""

    adverts: tuple[str, ...]
    raw_files: int
    inbox_files: tuple[str, ...]


def forget(folder: Path, ref: str, today: date, *, whole_file: bool = False) -> Forgotten:
    """Removes the adverts of a vehicle, or one advert or refused file by its id, with raw files and copies in inbox/.

    Raises UsageError when nothing fits, and when the file holds other adverts too and `whole_file` is not set.
    """
    with open_store(folder, create=False) as store:
        refs = store.refs()
        ids = {advert_id for advert_id, of in refs.items() if of == ref} or {
            a for a in store.advert_numbers() if a == ref
        }
        raw = store.raw_of(ids) if ids else {r.raw_sha256 for r in store.refusals() if r.source == ref and r.raw_sha256}
        if not ids and not raw:
            raise UsageError(f"no vehicle, advert or refused file is called {ref!r}",
                             remedy="Give a number from 'viewworthy rank', or an advert's id.")  # fmt: skip
        others = store.adverts_in(raw) - ids
        if others and not whole_file:
            some = ", ".join(sorted(others)[:3]) + (" …" if len(others) > 3 else "")
            raise UsageError(
                f"its file holds {len(others)} other adverts too ({some})",
                remedy="Give --whole-file to forget them all, since a raw file is removed whole or not at all.",
            )
        copies = _copies(folder / "inbox", raw)
        for path in copies:
            path.unlink()
        store.forget(ids | others, raw, today)
        for made in (folder / "reports", folder / "cache"):  # pages and costs quote adverts; the next run makes them
            shutil.rmtree(made, ignore_errors=True)
        _clear(folder, NEW)
        with open_store(folder, name=NEW) as clean:
            clean.copy_from(store, leaving={"migrations"})
    _put_in_place(folder, keep=False)
    _clear(folder, BEFORE)
    return Forgotten(tuple(sorted(ids | others)), len(raw), tuple(str(path.relative_to(folder)) for path in copies))


def _copies(inbox: Path, raw: set[str]) -> list[Path]:
    import hashlib

    files = [path for path in sorted(inbox.rglob("*")) if path.is_file() and not path.is_symlink()]
    return [path for path in files if hashlib.sha256(path.read_bytes()).hexdigest() in raw]
