"""The readings of a search with the buyer's corrections in them, for some adverts at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TypeVar

from pipeline.notes import corrected
from pipeline.schemas.notes import NoteRules
from pipeline.store import Store
from pipeline.types import Note, Reading, Snapshot

AT_ONCE = 20_000  # snapshots whose readings are held together, 10 to 20 kB each
T = TypeVar("T")


class HeldReadings:
    """Of up to AT_ONCE snapshots all are held; of more those that are asked for: all of a million fill the memory."""

    def __init__(self, store: Store, snapshots: Sequence[Snapshot], notes: Sequence[Note], rules: NoteRules) -> None:
        self._store, self._notes, self._rules = store, notes, rules
        self._all = self._load(snapshots, None) if len(snapshots) <= AT_ONCE else None

    def of(self, snapshots: Sequence[Snapshot]) -> Mapping[int, Reading]:
        """Snapshot id -> reading, of these snapshots at least."""
        if self._all is not None:
            return self._all
        return self._load(snapshots, [snapshot.snapshot_id for snapshot in snapshots])

    def _load(self, snapshots: Sequence[Snapshot], numbers: Sequence[int] | None) -> dict[int, Reading]:
        return corrected(self._store.readings(numbers), snapshots, self._notes, self._rules)


def in_parts(things: Sequence[T], size: int = AT_ONCE) -> Iterator[Sequence[T]]:
    """Things in their order, at most `size` at a time."""
    for start in range(0, len(things), size):
        yield things[start : start + size]
