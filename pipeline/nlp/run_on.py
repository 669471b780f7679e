"""Where a new clause begins in words that nobody punctuated: logistic regression over the words around every gap.

It learns from the corpus, whose writers did punctuate: which gaps held a stop or a comma, told by the two words on
either side. It is asked only where a long stretch holds no punctuation at all.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.nlp.lexicon import word_set
from pipeline.nlp.tables import Table
from pipeline.nlp.words import Numbers, Places, Words, mix, number_of

LEAST = 12  # words without punctuation from which on they are looked at
_SURE = np.array([0.4, 0.4], np.float32)  # from which on a gap ends a sentence; or a chunk
_SILENT = word_set("& + / % # = _ £ $ € ' \" ’ ‘ “ ” `")  # marks that divide nothing
_ROLES = np.array([[number_of(f"gap {role}")] for role in ("b", "c", "bc", "a", "d", "ab", "cd")], np.uint64)
_EDGE = "\n"


@lru_cache(maxsize=1_000)  # the same few signs again and again
def punctuates(norm: str) -> bool:
    """Whether a token divides what stands before it from what stands after."""
    return not (norm[0].isalnum() or norm in _SILENT or any(map(str.isalnum, norm)))


def stretches(norms: Sequence[str]) -> list[tuple[int, int]]:
    """Tokens start..end of every long stretch without punctuation."""
    marks = [at for at, plain in enumerate(map(str.isalnum, norms)) if not plain and punctuates(norms[at])]
    return [(a + 1, b) for a, b in pairwise([-1, *marks, len(norms)]) if b - a > LEAST]


def gap_features(words: Words, said: Sequence[str]) -> tuple[Places, Numbers]:
    """Rows and numbers of the features of the gaps after each of the words but the last."""
    numbers = _gaps(words, [_EDGE, *said, _EDGE])
    return np.tile(np.arange(numbers.shape[1]), len(numbers)), numbers.ravel()


def _gaps(words: Words, said: Sequence[str]) -> Numbers:
    """Features of the gaps with two words before and two after, a column each; a line a role."""
    columns = words.columns(said)
    number = words.table[0].take(columns)
    a, b, c, d = number[:-3], number[1:-2], number[2:-1], number[3:]
    once, twice = np.uint64(3), np.uint64(5)
    made = np.stack([b, c, b * once + c * twice, a, d, a * once + b * twice, c * once + d * twice])
    return mix(made + _ROLES)


class RunOn:
    """Weights of the two questions asked of a gap: does it end a sentence, does it divide at all."""

    def __init__(self, arrays: Mapping[str, NDArray[Any]]) -> None:
        """`gap_keys`: sorted, shape (n,); `gap_weights`: shape (n, 2); `gap_bias`: shape (2,)."""
        self._table = Table(arrays["gap_keys"], arrays["gap_weights"])
        self._bias, self._words = arrays["gap_bias"].astype(np.float32), Words()

    @staticmethod
    def nothing() -> dict[str, NDArray[Any]]:
        """Arrays of one that has learned nothing and divides nothing."""
        return {
            "gap_keys": np.zeros(0, np.uint64), "gap_weights": np.zeros((0, 2)), "gap_bias": np.full(2, -30.0)
        }  # fmt: skip

    def divide(self, texts: Sequence[Sequence[str]]) -> list[tuple[frozenset[int], frozenset[int]]]:
        """Of each text's tokens those with which a sentence begins, and those with which a chunk does, in stretches
        without punctuation."""
        found: list[tuple[list[int], list[int]]] = [([], []) for _ in texts]
        said: list[str] = []
        places: list[tuple[int, int, int, int]] = []  # of a stretch: its text, its tokens, where it begins in `said`
        if len(self._table):
            for text, norms in enumerate(texts):
                for start, end in stretches(norms):
                    places.append((text, start, end, len(said)))
                    said += [_EDGE, *norms[start:end], _EDGE]
        if said:
            # Gaps from one stretch to the next are reckoned too, and not looked at.
            chance = 1 / (1 + np.exp(-(self._table.totals(_gaps(self._words, said)) + self._bias)))
            gaps, kinds = (chance > _SURE).nonzero()
            begins = [at for *_, at in places]
            for gap, kind in zip(gaps.tolist(), kinds.tolist(), strict=True):
                text, start, end, at = places[bisect_right(begins, gap) - 1]
                if gap - at < end - start - 1:
                    found[text][kind].append(start + 1 + gap - at)
        return [(frozenset(stops), frozenset(pauses)) for stops, pauses in found]
