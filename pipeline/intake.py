"""Takes files into a search: keeps every file's bytes, reads it, stores its adverts. What was begun is finished."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any

from pipeline.errors import StoreError
from pipeline.fingerprint import fingerprint
from pipeline.store import Store, Taken
from pipeline.types import Ingested, Refusal, SourceFile

Progress = Callable[[str, int, int], None]  # stage, done, of how many
BATCH_FILES, BATCH_BYTES = 200, 16_000_000


@dataclass(slots=True)
class Added:
    """What `add` did: all that was seen is new, changed, the same as before, or refused."""

    files: int = 0
    seen: int = 0
    new: int = 0
    changed: int = 0
    same: int = 0
    forgotten: int = 0  # files that the buyer had forgotten, left out
    refusals: list[Refusal] = field(default_factory=list)

    @property
    def adverts(self) -> int:
        return self.new + self.changed + self.same

    def check(self) -> None:
        """Raises StoreError when something that was seen went nowhere."""
        if self.seen != self.adverts + len(self.refusals):
            raise StoreError(
                f"{self.seen} were seen, but {self.adverts} adverts stored and {len(self.refusals)} refused",
                remedy="Every file is kept. Run 'viewworthy doctor'.",
            )


def quiet(stage: str, done: int, total: int) -> None:
    """Progress for nobody."""


@lru_cache(maxsize=1)
def reader_version() -> str:
    """What decides whether a file that was refused is tried again: the readers of this program."""
    return fingerprint([Path(__file__).parent / "ingest"])


def add(store: Store, sources: Iterable[SourceFile | Refusal], today: date, progress: Progress = quiet) -> Added:
    """Keeps every file's bytes, then reads it. A file that cannot be read is kept, listed, and changes nothing else.

    The same bytes again, under whatever name, are the same file. They are read again only when they were saved
    again since, or were refused by older readers.
    """
    added = Added()
    _take(store, sources, today, progress, added)
    finish(store, progress)
    added.check()
    return added


def finish(store: Store, progress: Progress = quiet) -> None:
    """Reads what was kept but not read, because the program was ended in between."""
    taken, gone = store.taken(), store.forgotten()
    waiting: dict[date, dict[str, SourceFile]] = {}
    for day, sha256, name, modified in store.journalled():
        if sha256 not in taken and sha256 not in gone:
            file = store.raw_file(sha256, name, modified)
            if file is not None:
                waiting.setdefault(day, {}).setdefault(sha256, file)
    for day, files in waiting.items():
        _take(store, files.values(), day, progress, Added(), kept=True)


def replay(store: Store, numbers: Mapping[str, int], progress: Progress = quiet) -> Added:
    """Takes in everything that the journal lists, in its order, each on its day. For an empty store."""
    added = Added()
    for (what, day), lines in groupby(store.journal.lines(), key=lambda line: (line["what"], line["day"])):
        today = date.fromisoformat(day)
        if what in ("apart", "together"):
            for line in lines:
                store.keep_apart([(line["a"], line["b"])], today, what == "apart", told=False)
        elif what == "file":
            _take(store, _kept(store, lines), today, progress, added, kept=True, numbers=numbers)
    added.check()
    return added


def _kept(store: Store, lines: Iterable[Mapping[str, Any]]) -> Iterator[SourceFile | Refusal]:
    for line in lines:
        modified = date.fromisoformat(line["modified"]) if line["modified"] else None
        file = store.raw_file(line["sha256"], line["name"], modified)
        reason = "is missing from raw/, or no longer what was kept. Restore it from a copy."
        yield file or Refusal(line["name"], reason, None, line["sha256"])


def _take(
    store: Store,
    sources: Iterable[SourceFile | Refusal],
    today: date,
    progress: Progress,
    added: Added,
    kept: bool = False,
    numbers: Mapping[str, int] | None = None,
) -> None:
    taken, gone = store.taken(), store.forgotten()
    for batch in _batches(sources):
        todo: list[SourceFile] = []
        for source in batch:
            added.files += 1
            progress("adding", added.files, 0)
            if isinstance(source, Refusal):
                added.seen += 1
                added.refusals.append(source)
                store.keep_refusals([source], today)
                continue
            before = taken.get(source.sha256)
            if before is not None:
                source = replace(source, name=before.name)
            if source.sha256 in gone:
                added.forgotten += 1
                continue
            if before is not None and _is_done(source, before):
                _count_done(store, source, before, added)
            else:
                todo.append(source)
        if not todo:
            continue
        if not kept:
            store.keep_raw(todo, today)
        _read(store, todo, today, added, numbers)
        for source in todo:
            taken[source.sha256] = store.taken_one(source.sha256)


def _read(store: Store, todo: list[SourceFile], today: date, added: Added, numbers: Mapping[str, int] | None) -> None:
    from pipeline.ingest import read_source

    got: list[tuple[SourceFile, Ingested]] = [(source, read_source(source)) for source in todo]
    with store.transaction():
        store.keep_taken(got, reader_version(), today)
        adverts = [advert for _, ingested in got for advert in ingested.adverts]
        outcomes = Counter(store.keep_adverts(adverts, today, numbers))
    added.seen += sum(len(ingested.adverts) + len(ingested.refusals) for _, ingested in got)
    added.new += outcomes["new"]
    added.changed += outcomes["changed"]
    added.same += outcomes["same"]
    added.refusals += [refusal for _, ingested in got for refusal in ingested.refusals]


def _is_done(source: SourceFile, before: Taken) -> bool:
    if before.refused and before.reader != reader_version():
        return False
    if before.reader is None or source.modified is None:
        return False  # read by a version that kept no count, or typed in again
    return before.modified is not None and source.modified <= before.modified


def _count_done(store: Store, source: SourceFile, before: Taken, added: Added) -> None:
    refusals = store.refusals_of(source.sha256) if before.refused else []
    added.seen += before.adverts + len(refusals)
    added.same += before.adverts
    added.refusals += refusals


def _batches(sources: Iterable[SourceFile | Refusal]) -> Iterator[list[SourceFile | Refusal]]:
    """Files by the hundred: few enough to hold, many enough that storing them costs little. No file twice in one."""
    batch: list[SourceFile | Refusal] = []
    seen: set[str] = set()
    size = 0
    for source in sources:
        data = source.data if isinstance(source, SourceFile) else b""
        key = source.sha256 if isinstance(source, SourceFile) else ""
        if batch and (len(batch) >= BATCH_FILES or size + len(data) > BATCH_BYTES or (key and key in seen)):
            yield batch
            batch, seen, size = [], set(), 0
        batch.append(source)
        seen.add(key)
        size += len(data)
    if batch:
        yield batch
