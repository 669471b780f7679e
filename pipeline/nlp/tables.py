"""Weights by the numbers of features: how the trained parts of reading look up what they have learned."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.nlp.words import Numbers, Places

Weights = NDArray[np.float32]
_BLOCK = 128  # rows of features whose weights are added up at once


class Table:
    """Rows of weights by the numbers of features; numbers that it does not hold have none."""

    def __init__(self, keys: Numbers, weights: NDArray[Any]) -> None:
        """`keys`: sorted, shape (n,); `weights`: shape (n, columns)."""
        self._weights = np.zeros((len(keys) + 1, weights.shape[1]), np.float32)  # the last row: of what is not held
        self._weights[:-1] = weights
        bits = max(4, len(keys).bit_length() + 2)
        self._shift = np.uint64(64 - bits)
        slots = (keys >> self._shift).astype(np.int64)
        counts = np.bincount(slots, minlength=1 << bits)
        self._begin = (np.cumsum(counts) - counts).astype(np.int32)
        self._deepest = int(counts.max()) if len(keys) else 0
        self._size = len(keys)
        self._keys = np.append(keys, np.zeros(self._deepest + 1, np.uint64))  # a look behind the last finds nothing

    def __len__(self) -> int:
        return self._size

    def find(self, numbers: Numbers) -> NDArray[np.int32]:
        """The row of weights of each number; the last, of zeros, where a number is not held."""
        row = self._begin.take((numbers >> self._shift).astype(np.int64))
        left = (self._keys.take(row) != numbers).nonzero()[0]  # few: most stand first in their slot
        for _ in range(1, self._deepest):
            row[left] += 1
            left = left[self._keys.take(row[left]) != numbers[left]]
        row[left] = self._size
        return row

    def totals(self, numbers: Numbers) -> Weights:
        """Sum of the weights of each column of `numbers`, none of which holds a feature twice."""
        found = self.find(numbers.ravel()).reshape(numbers.shape)
        return np.asarray(self._weights.take(found, axis=0).sum(axis=0))

    def sums(self, rows: Places, numbers: Numbers, size: int) -> Weights:
        """Sum of the weights of the features of each row, each feature counted once: shape (size, columns)."""
        found = self.find(numbers)
        held = (found < self._size).nonzero()[0]
        total = np.zeros((size, self._weights.shape[1]), np.float32)
        if len(held):
            bits = self._size.bit_length()
            kind = np.uint32 if size << bits <= 1 << 32 else np.int64  # the shorter sort in half the time
            # A number holds a row of features and, in its last bits, a row of weights.
            keys: NDArray[Any] = rows[held].astype(kind)
            keys <<= bits
            keys |= found[held].astype(kind)
            keys.sort()
            keys = keys[changes(keys)]
            at = keys >> bits
            starts = changes(at)
            found = keys & ((1 << bits) - 1)
            bounds = np.append(starts, len(keys))
            for begin in range(0, len(starts), _BLOCK):  # weights that a processor's cache holds
                some = bounds[begin : begin + _BLOCK + 1]
                weights = self._weights.take(found[some[0] : some[-1]], axis=0)
                total[at[some[:-1]]] = np.add.reduceat(weights, some[:-1] - some[0], axis=0)
        return total


def changes(values: NDArray[Any]) -> Places:
    """The places of values that differ from the one before them, and of the first."""
    changed = np.ones(len(values), np.bool_)
    np.not_equal(values[1:], values[:-1], out=changed[1:])
    return np.flatnonzero(changed)
