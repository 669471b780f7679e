"""Item costs of many vehicles on the disk instead of in memory, for as long as a run lasts."""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile
from threading import Lock

import numpy as np

from pipeline.types import Draws, small


class Shelf:
    """Item costs of many vehicles in a file that ends with the process: in memory they would take 0.25 MB each."""

    def __init__(self, folder: Path) -> None:
        """Raises OSError where nothing can be written."""
        folder.mkdir(exist_ok=True)
        self._file = TemporaryFile(dir=folder, buffering=0)  # noqa: SIM115, as long as an estimate is held
        weakref.finalize(self, self._file.close)
        self._end, self._lock = 0, Lock()

    def put(self, draws: Draws) -> Shelved:
        """Raises OSError when the disk is full."""
        data = bytes_of(draws)
        with self._lock:
            start, left = self._end, memoryview(data)
            self._file.seek(start)
            while left:
                left = left[self._file.write(left) :]
            self._end += len(data)
        return Shelved(self, draws.samples, len(draws.counts), start, len(data))

    def get(self, start: int, size: int) -> bytes:
        """What was put there."""
        with self._lock:
            self._file.seek(start)
            return self._file.read(size)


@dataclass(frozen=True, slots=True, eq=False)
class Shelved:
    """Where the item costs of one vehicle stand."""

    shelf: Shelf
    samples: int
    items: int
    start: int
    size: int

    def draws(self) -> Draws:
        """The costs themselves."""
        return draws_of(self.shelf.get(self.start, self.size), self.samples, self.items)


def bytes_of(draws: Draws) -> bytes:
    """Draws as bytes, 0.25 MB or less: counts, amounts, rows."""
    kept = draws.packed()
    return b"".join((kept.counts.tobytes(), kept.amounts.tobytes(), kept.rows.tobytes()))


def draws_of(data: bytes, samples: int, items: int) -> Draws:
    """What `bytes_of` made bytes of, bit for bit."""
    counts = np.frombuffer(data, np.int32, items)
    entries = int(counts.sum())
    amounts = np.frombuffer(data, np.float32, entries, offset=counts.nbytes)
    rows = np.frombuffer(data, small(samples), entries, offset=counts.nbytes + amounts.nbytes)
    return Draws(samples, counts, rows, amounts)
