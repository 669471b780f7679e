"""Numbers that stand for words and for features made of them, the same on every machine; words keep theirs."""

from __future__ import annotations

import re
import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.uint64]
Places = NDArray[np.int64]

_MASK = (1 << 64) - 1
ONE, TWO, THREE = 0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9  # odd, from xxHash
_MIX = 0xFF51AFD7ED558CCD  # from MurmurHash3's finaliser
_DIGITS = re.compile(r"\d+")
_BEGINNING = 5  # letters of a word that stand for its family


def number_of(name: str) -> int:
    """A 64-bit number that stands for a name, the same on every machine."""
    data = name.encode("utf-8", "surrogatepass")
    return (zlib.crc32(data) << 32 | zlib.adler32(data)) * ONE & _MASK


def mixed(one: int, two: int = 0, role: int = 0) -> int:
    """The number of a feature made of numbers, as `mix` gives it for arrays."""
    value = (one * ONE + two * TWO + role) & _MASK
    value ^= value >> 31
    value = value * _MIX & _MASK
    return value ^ value >> 33


def mix(raw: Numbers) -> Numbers:
    """Spreads the bits of sums of numbers, in place."""
    raw ^= raw >> np.uint64(31)
    raw *= np.uint64(_MIX)
    raw ^= raw >> np.uint64(33)
    return raw


def role_of(name: str) -> int:
    """The number of a role that words play in a feature."""
    return number_of("role " + name)


# Where a feature goes: its own chunk, the one after it, the one before it, its sentence, the one after, the one before.
CHUNK, AFTER, BEFORE, SENTENCE, NEXT, LAST = range(6)
# Features of a word wherever it stands in a chunk; "x" is that of its beginning.
WORD_ROLES = {"c1": CHUNK, "x": CHUNK, "p1": AFTER, "n1": BEFORE, "s1": SENTENCE, "ps": NEXT, "ns": LAST}


class Words:
    """The numbers of words and of the features that a word makes alone, a column of an array each; bounded."""

    def __init__(self, limit: int = 60_000) -> None:
        self._limit = limit
        self._columns: dict[str, int] = {}
        # Lines: the word, opening a chunk, ending one, then as WORD_ROLES.
        self.table = np.zeros((3 + len(WORD_ROLES), 1024), np.uint64)

    def columns(self, words: Sequence[str]) -> Places:
        """Columns of `table` for the words."""
        known = self._columns
        found = list(map(known.get, words))
        if None in found:
            if len(known) + len(words) > self._limit:
                known.clear()
            found = [known[word] if word in known else self._add(word) for word in words]
        return np.array(found, np.int64)

    def _add(self, word: str) -> int:
        column = len(self._columns)
        if column == self.table.shape[1]:
            self.table = np.concatenate([self.table, np.zeros_like(self.table)], axis=1)
        shape = _DIGITS.sub("0", word[:40])
        number, begin = number_of(shape), number_of("x" + shape[:_BEGINNING])
        alone = [mixed(begin if name == "x" else number, role=role_of(name)) for name in ("b", "e", *WORD_ROLES)]
        self.table[:, column] = [number, *alone]
        self._columns[word] = column
        return column
