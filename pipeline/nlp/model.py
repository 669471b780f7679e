"""The trained reader: which subjects each chunk speaks of and what it says of them, on top of the rules.

Logistic regression in stages (see `models/claim_status/CARD.md`): for every chunk the chance that it makes a claim of
a subject; for every pair that is likely enough, the chance of each status; and for every claim that this makes likely,
how sure it is beside the others of the advert (`weigh.py`). The weights are in one `.npz`, no pickle.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import ModelError
from pipeline.nlp.features import Encoded, encode
from pipeline.nlp.pairs import encode_pairs
from pipeline.nlp.reader import Read
from pipeline.nlp.run_on import RunOn
from pipeline.nlp.tables import Table, Weights
from pipeline.nlp.words import Words
from pipeline.types import STATUSES, Status

ARTEFACT = "claim_status.npz"


class Guess(NamedTuple):
    """What the model makes of a chunk: chance that it makes a claim of `subject`, and of each status if it does."""

    chunk: int
    subject: str
    stated: float
    statuses: tuple[float, ...]  # in the order of STATUSES

    def chances(self) -> list[tuple[Status, float]]:
        """Chance of each claim."""
        return [(status, self.stated * chance) for status, chance in zip(STATUSES, self.statuses, strict=True)]


class ClaimModel:
    """Weights of the trained reader."""

    def __init__(self, arrays: dict[str, NDArray[Any]], meta: dict[str, Any]) -> None:
        self.subjects: list[str] = meta["subjects"]
        self.known = frozenset(self.subjects)
        self.stands: float = meta["stands"]  # least confidence of a claim that is told
        self._least: float = meta["least"]
        self.weigh = arrays["weigh"].astype(np.float64)
        self._chunks = Table(arrays["chunk_keys"], arrays["chunk_weights"])
        self._pairs = Table(arrays["pair_keys"], arrays["pair_weights"])
        self._chunk_bias = arrays["chunk_bias"].astype(np.float32)
        self._pair_bias = arrays["pair_bias"].astype(np.float32)
        self.run_on = RunOn(arrays)
        self.words = Words()

    @staticmethod
    def empty(gaps: dict[str, NDArray[Any]] | None = None) -> ClaimModel:
        """A model that has learned nothing and finds nothing; `gaps`, the arrays of `RunOn`, if there are any yet."""
        none, size = np.zeros(0, np.uint64), len(STATUSES)
        arrays = {"chunk_keys": none, "chunk_weights": np.zeros((0, size)), "chunk_bias": np.zeros(0)}
        arrays |= {"pair_keys": none, "pair_weights": np.zeros((0, size)), "pair_bias": np.zeros(size)}
        arrays |= {"weigh": np.zeros(1), **(gaps or RunOn.nothing())}
        return ClaimModel(arrays, {"subjects": [], "stands": 1.0, "least": 1.0})

    @staticmethod
    def load(folder: Path) -> ClaimModel:
        """The model of `models/claim_status`. Raises ModelError when it is not there or not of this program."""
        path = folder / ARTEFACT
        try:
            with np.load(path, allow_pickle=False) as file:
                arrays = {name: file[name] for name in file.files}
            return ClaimModel(arrays, json.loads(str(arrays["meta"])))
        except (OSError, ValueError, KeyError) as error:
            raise ModelError(
                f"the trained reader cannot be read: {error}",
                where=str(path),
                remedy="Run python models/claim_status/train.py, or install viewworthy again.",
            ) from error

    def confidences(self, features: NDArray[np.float64]) -> NDArray[np.float64]:
        """How likely each claim is to be right, shape (claims,). `features`: as `weigh.features` gives them."""
        return np.asarray(1 / (1 + np.exp(-(features @ self.weigh[:-1] + self.weigh[-1]).clip(-30, 30))))

    def guesses(self, reads: Sequence[Read]) -> tuple[Encoded | None, list[list[Guess]]]:
        """Chunks of texts and, of each text, what every pair of chunk and subject that is likely enough says."""
        found: list[list[Guess]] = [[] for _ in reads]
        encoded = encode(reads, self.words)
        if encoded is None:
            return None, found
        size = len(encoded.first)
        totals = self._chunks.sums(encoded.rows, encoded.numbers, size + encoded.sentences)
        logits = totals[:size] + totals[size + encoded.sentence]
        count = len(self.subjects)
        stated = _sigmoid(logits[:, :count] + self._chunk_bias)
        chunk, column = np.nonzero(stated > self._least)
        if not len(chunk):
            return encoded, found
        pairs = [(k, self.subjects[s]) for k, s in zip(chunk.tolist(), column.tolist(), strict=True)]
        rows, numbers = encode_pairs(encoded, reads, self.words, pairs)
        said = self._pairs.sums(rows, numbers, len(pairs)) + logits[chunk, count:] + self._pair_bias
        chances = _sigmoid(said)
        chances /= chances.sum(axis=1, keepdims=True)
        of = np.repeat(np.arange(len(reads)), encoded.chunks)[chunk].tolist()
        values = zip(of, pairs, stated[chunk, column].tolist(), chances.tolist(), strict=True)
        for advert, (k, subject), p, q in values:
            found[advert].append(Guess(k, subject, p, tuple(q)))
        return encoded, found


def _sigmoid(logits: Weights) -> Weights:
    return np.asarray(1 / (1 + np.exp(-logits.clip(-30, 30))), np.float32)
