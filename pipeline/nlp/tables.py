"""Weights by the numbers of features: how the trained parts of reading look up what they have learned."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.nlp.words import Numbers, Places

Weights = NDArray[np.float32]
_ROW_BITS = 32  # of a number that holds a row of features and, in these bits, a row of weights
_ROW_MASK = (1 << _ROW_BITS) - 1
_BLOCK = 128  # rows of features whose weights are added up at once


class Table:
    """Rows of weights by the numbers of features; numbers that it does not hold have none."""

    def __init__(self, keys: Numbers, weights: NDArray[Any]) -> None:
        """`keys`: sorted, shape (n,); `weights`: shape (n, columns)."""
        self.weights = weights.astype(np.float32)
        bits = max(4, len(keys).bit_length() + 2)
        self._shift = np.uint64(64 - bits)
        slots = (keys >> self._shift).astype(np.int64)
        counts = np.bincount(slots, minlength=1 << bits)
        self._begin = (np.cumsum(counts) - counts).astype(np.int32)
        self._deepest = int(counts.max()) if len(keys) else 0
        self._size = len(keys)
        self._keys = np.append(keys, np.zeros(self._deepest + 1, np.uint64))  # a look behind the last finds nothing

    def find(self, numbers: Numbers) -> tuple[Places, Places]:
        """Which of `numbers` are held (their places) and the rows of weights that they have."""
        row = self._begin.take((numbers >> self._shift).astype(np.int64)).astype(np.int64)
        found = np.full(len(numbers), self._size)
        for _ in range(self._deepest):
            np.copyto(found, row, where=self._keys.take(row) == numbers)
            row += 1
        held = np.flatnonzero(found < self._size)
        return held, found[held]

    def sums(self, rows: Places, numbers: Numbers, size: int) -> Weights:
        """Sum of the weights of the features of each row, each feature counted once: shape (size, columns)."""
        held, found = self.find(numbers)
        total = np.zeros((size, self.weights.shape[1]), np.float32)
        if len(held):
            keys = rows[held] << _ROW_BITS | found
            keys.sort()
            keys = keys[_changes(keys)]
            at = keys >> _ROW_BITS
            starts = _changes(at)
            found = keys & _ROW_MASK
            bounds = np.append(starts, len(keys))
            for begin in range(0, len(starts), _BLOCK):  # weights that a processor's cache holds
                some = bounds[begin : begin + _BLOCK + 1]
                weights = self.weights.take(found[some[0] : some[-1]], axis=0)
                total[at[some[:-1]]] = np.add.reduceat(weights, some[:-1] - some[0], axis=0)
        return total


def _changes(values: Places) -> Places:
    """The places of values that differ from the one before them, and of the first."""
    changed = np.ones(len(values), np.bool_)
    np.not_equal(values[1:], values[:-1], out=changed[1:])
    return np.flatnonzero(changed)
