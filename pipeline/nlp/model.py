"""The trained reader: which subjects each chunk speaks of and what it says of them, on top of the rules.

Logistic regression in stages (see `models/claim_status/CARD.md`): for every chunk the chance that it makes a claim of
a subject; for every pair that is likely enough, the chance of each status; and for every claim that this makes likely,
how sure it is beside the others of the advert (`weigh.py`). The weights are in one `.npz`, no pickle.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import ModelError
from pipeline.nlp.features import Encoded, encode
from pipeline.nlp.mentions import Mention
from pipeline.nlp.pairs import encode_pairs
from pipeline.nlp.reader import Read
from pipeline.nlp.run_on import RunOn
from pipeline.nlp.tables import Table, Weights
from pipeline.nlp.words import Places, Words
from pipeline.types import STATUSES, Status

ARTEFACT = "claim_status.npz"


@dataclass(slots=True)
class Guesses:
    """What the model makes of adverts read together: a line for every pair of chunk and subject that is likely enough.

    `stated`: chance that the chunk makes a claim of the subject; `statuses`: and of each of STATUSES if it does; `own`:
    the chunk's mentions of the subject. Lines are in order of the text; `subject` is a place in `subjects`.
    """

    subjects: Sequence[str]
    advert: Places
    chunk: Places
    subject: Places
    stated: NDArray[np.float64]
    statuses: NDArray[np.float64]
    own: Sequence[Sequence[Mention]]

    def likely(self, least: float) -> set[tuple[str, Status]]:
        """Subject and status of every claim that some chunk makes with at least this chance."""
        line, place = (self.stated[:, None] * self.statuses >= least).nonzero()
        pairs = zip(self.subject[line].tolist(), place.tolist(), strict=True)
        return {(self.subjects[subject], STATUSES[status]) for subject, status in pairs}


_NONE: Sequence[Mention] = ()


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

    def guesses(self, reads: Sequence[Read]) -> tuple[Encoded, Guesses] | None:
        """Chunks of texts, and what is likely of them; None where there are no chunks."""
        encoded = encode(reads, self.words)
        if encoded is None:
            return None
        size = len(encoded.first)
        totals = self._chunks.sums(encoded.rows, encoded.numbers, size + encoded.sentences)
        logits = totals[:size] + totals[size + encoded.sentence]
        count = len(self.subjects)
        stated = _sigmoid(logits[:, :count] + self._chunk_bias)
        chunk, column = np.nonzero(stated > self._least)
        pairs = [(k, self.subjects[s]) for k, s in zip(chunk.tolist(), column.tolist(), strict=True)]
        own = [encoded.named.get(pair, _NONE) for pair in pairs]
        rows, numbers = encode_pairs(encoded, reads, self.words, pairs)
        said = self._pairs.sums(rows, numbers, len(pairs)) + logits[chunk, count:] + self._pair_bias
        chances = _sigmoid(said)
        chances /= chances.sum(axis=1, keepdims=True)
        advert = np.repeat(np.arange(len(reads)), encoded.chunks)[chunk]
        sure = stated[chunk, column].astype(np.float64)
        return encoded, Guesses(self.subjects, advert, chunk, column, sure, chances.astype(np.float64), own)


def _sigmoid(logits: Weights) -> Weights:
    return np.asarray(1 / (1 + np.exp(-logits.clip(-30, 30))), np.float32)
