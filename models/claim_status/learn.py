"""Turns annotated adverts into examples and fits the stages of the trained reader."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import scipy.sparse as sp
from joblib import Parallel, delayed
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from pipeline.nlp.features import Encoded, encode
from pipeline.nlp.model import ClaimModel
from pipeline.nlp.pairs import encode_pairs
from pipeline.nlp.reader import Read
from pipeline.nlp.run_on import gap_features, punctuates
from pipeline.nlp.tokens import Normaliser, tokenize
from pipeline.nlp.trained import TrainedReader
from pipeline.nlp.weigh import FEATURES, allowed, candidates, told_by
from pipeline.nlp.words import Words
from pipeline.types import STATUSES

LEAST_ADVERTS = 2  # a feature is learned when it stands in this many adverts
LEAST_CLAIMS = 4  # a subject is learned when it has this many examples
_MARKS = re.compile(r"(?<!\d)[^\w\s'’/&+%£$€-]+|[^\w\s'’/&+%£$€-]+(?!\d)|(?<!\w)-+|-+(?!\w)")
_STOPS = frozenset({".", "!", "?", "\n"})
_TELLING = (0.2, 4.0)  # bounds of a feature's scale
_COVERED = 0.8  # a chunk of which a quote covers this share makes the claim too


@dataclass(slots=True)
class Example:
    """An advert as the rules read it, and where it makes which claims: (chunk, subject) -> status -> whether here."""

    row: dict[str, Any]
    read: Read
    encoded: Encoded
    claims: dict[tuple[int, str], dict[str, bool]] = field(default_factory=dict)

    @property
    def gold(self) -> set[tuple[str, str]]:
        return {(claim["subject"], claim["status"]) for claim in self.row["claims"]}


def load(path: Path) -> list[dict[str, Any]]:
    """Annotated adverts of a JSON lines file."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def examples(rows: Iterable[dict[str, Any]], reader: TrainedReader, words: Words) -> list[Example]:
    """Adverts read by the rules, each claim laid on the chunk that holds most of its quote."""
    found = []
    for row in rows:
        read = reader.read_rules(row["text"], date.fromisoformat(row["saved_on"]), row["facts"].get("mileage"))
        encoded = encode([read], words)
        if encoded is None:
            continue
        example = Example(row, read, encoded)
        starts, ends = read.tokens.starts, read.tokens.ends
        spans = [(starts[a], ends[b - 1]) for a, b in zip(encoded.first, encoded.last, strict=True)]
        for claim in row["claims"]:
            begin = row["text"].find(claim["quote"])
            end = begin + len(claim["quote"])
            shared = [min(stop, end) - max(start, begin) for start, stop in spans]
            most = max(range(len(spans)), key=lambda i: shared[i])
            for chunk, (start, stop) in enumerate(spans):
                if shared[chunk] > 0 and (chunk == most or shared[chunk] > _COVERED * (stop - start)):
                    statuses = example.claims.setdefault((chunk, claim["subject"]), {})
                    statuses[claim["status"]] = statuses.get(claim["status"], False) or chunk == most
        found.append(example)
    return found


def unpunctuated(row: Mapping[str, Any]) -> dict[str, Any] | None:
    """An advert as somebody writes it who uses neither stops nor capitals; None when a quote is lost with them."""
    text, claims = _bare(row["text"]), [{**claim, "quote": _bare(claim["quote"])} for claim in row["claims"]]
    if any(claim["quote"] not in text for claim in claims):
        return None
    return {**row, "text": text, "claims": claims}


def _bare(text: str) -> str:
    return " ".join(_MARKS.sub(" ", text).lower().split())


def fit_gaps(texts: Iterable[str], strength: float) -> dict[str, NDArray[Any]]:
    """Arrays of `RunOn`, learned from texts whose writers punctuated."""
    words, normaliser, parts = Words(), Normaliser(), []
    stop: list[bool] = []
    pause: list[bool] = []
    for text in texts:
        said: list[str] = []
        ends: list[int] = []
        for norm in tokenize(text, normaliser).norms:
            if not punctuates(norm):
                said.append(norm)
                ends.append(0)
            elif said:
                ends[-1] = max(ends[-1], 2 if norm in _STOPS else 1)
        if len(said) > 1:
            parts.append((*gap_features(words, said), len(said) - 1))
            stop += [end == 2 for end in ends[:-1]]
            pause += [end > 0 for end in ends[:-1]]
    keys = frequent([numbers for _, numbers, _ in parts])
    weights, bias = fit(matrix(parts, keys), np.array([stop, pause], np.int8), strength)
    return {"gap_keys": keys, "gap_weights": weights.astype(np.float16), "gap_bias": bias}


def chunk_features(encoded: Encoded) -> tuple[NDArray[np.int64], NDArray[np.uint64]]:
    """Features of the chunks, those of sentences dealt to their chunks."""
    size = len(encoded.first)
    of_chunk = encoded.rows < size
    rows, numbers = [encoded.rows[of_chunk]], [encoded.numbers[of_chunk]]
    shared = sp.csr_matrix(
        (np.flatnonzero(~of_chunk) + 1, (encoded.rows[~of_chunk] - size, np.arange((~of_chunk).sum()))),
        shape=(encoded.sentences, max(1, int((~of_chunk).sum()))),
    )[encoded.sentence].tocoo()
    rows.append(shared.row.astype(np.int64))
    numbers.append(encoded.numbers[shared.data - 1])
    return np.concatenate(rows), np.concatenate(numbers)


def frequent(numbers: Sequence[NDArray[np.uint64]]) -> NDArray[np.uint64]:
    """Sorted features that stand in enough adverts."""
    keys, counts = np.unique(np.concatenate([np.unique(some) for some in numbers]), return_counts=True)
    return keys[counts >= LEAST_ADVERTS]


def matrix(
    parts: Sequence[tuple[NDArray[np.int64], NDArray[np.uint64], int]], keys: NDArray[np.uint64]
) -> sp.csr_matrix:
    """Rows of zeros and ones. `parts`: rows, numbers and count of rows of each advert."""
    rows, columns, base = [], [], 0
    for row, number, size in parts:
        place = np.minimum(np.searchsorted(keys, number), len(keys) - 1)
        held = keys[place] == number
        rows.append(row[held] + base)
        columns.append(place[held])
        base += size
    row, column = np.concatenate(rows), np.concatenate(columns)
    found = sp.csr_matrix((np.ones(len(row), np.float32), (row, column)), shape=(base, len(keys)))
    found.sum_duplicates()
    found.data[:] = 1
    return found


def fit(
    x: sp.csr_matrix, targets: NDArray[np.int8], strength: float, weights: NDArray[np.float32] | None = None
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """One logistic regression a row of `targets`: weights (features, rows) and biases.

    Every feature is first scaled by how much oftener it stands beside what is sought than beside the rest, the log of
    the ratio (Wang & Manning 2012, Baselines and Bigrams, ACL 50:90-94), so that telling ones are penalised less.
    """
    fitted = Parallel(n_jobs=2)(delayed(_fit_one)(x, target, strength, weights) for target in targets)
    return np.stack([one for one, _ in fitted], axis=1), np.array([bias for _, bias in fitted], np.float32)


def _fit_one(
    x: sp.csr_matrix, target: NDArray[np.int8], strength: float, weights: NDArray[np.float32] | None
) -> tuple[NDArray[np.float32], float]:
    if target.sum() < LEAST_CLAIMS:
        return np.zeros(x.shape[1], np.float32), -12.0
    said, rest = x[target == 1], x[target == 0]
    in_said, in_rest = np.asarray(said.sum(axis=0)).ravel() + 1, np.asarray(rest.sum(axis=0)).ravel() + 1
    telling = np.abs(np.log((in_said / (said.shape[0] + 2)) / (in_rest / (rest.shape[0] + 2))))
    telling = np.sqrt(telling / telling.mean()).clip(*_TELLING).astype(np.float32)
    model = LogisticRegression(solver="liblinear", C=strength, tol=1e-3, max_iter=60, random_state=0)
    model.fit(x.multiply(telling).tocsr(), target, sample_weight=weights)
    return (model.coef_[0] * telling).astype(np.float32), float(model.intercept_[0])


def train(
    found: Sequence[Example],
    subjects: Sequence[str],
    words: Words,
    settings: dict[str, Any],
    gaps: dict[str, NDArray[Any]],
    weigh: NDArray[np.float64] | None = None,
) -> ClaimModel:
    """The model fitted to examples cut by `gaps`, with the weights of the last stage, if there are any yet."""
    return ClaimModel(*fit_arrays(found, subjects, words, settings, gaps, weigh))


def weighing(model: ClaimModel, example: Example, limits: Mapping[str, Set[str]]) -> tuple[NDArray[Any], list[bool]]:
    """What the claims likely in an advert are weighed by, and whether each is right."""
    _, guesses = model.guesses([example.read])
    told = told_by(example.read.mentions)
    likely = candidates(guesses, [told], [len(example.encoded.first)], allowed(model.subjects, limits))
    return likely.features, [claim in example.gold for claim in likely.claims()]


def fit_weigh(
    folds: Sequence[tuple[ClaimModel, Sequence[Example]]], limits: Mapping[str, Set[str]], strength: float
) -> NDArray[np.float64]:
    """Weights and bias of the last stage, from adverts each beside a model that has not read its writer."""
    rows = [weighing(model, example, limits) for model, some in folds for example in some]
    x = np.vstack([row for row, _ in rows])
    spread = np.maximum(x.std(axis=0), 1e-6)
    fitted = LogisticRegression(C=strength, max_iter=2000)
    fitted.fit((x - x.mean(axis=0)) / spread, np.concatenate([right for _, right in rows]))
    weights = fitted.coef_[0] / spread
    return np.append(weights, fitted.intercept_[0] - x.mean(axis=0) @ weights).round(6)


def fit_arrays(
    found: Sequence[Example],
    subjects: Sequence[str],
    words: Words,
    settings: dict[str, Any],
    gaps: dict[str, NDArray[Any]],
    weigh: NDArray[np.float64] | None = None,
) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """Arrays and meta data of the model fitted to examples cut by `gaps`."""
    parts = [(*chunk_features(one.encoded), len(one.encoded.first)) for one in found]
    chunk_keys = frequent([numbers for _, numbers, _ in parts])
    x = matrix(parts, chunk_keys)
    bases = np.cumsum([0] + [size for _, _, size in parts])
    column = {subject: i for i, subject in enumerate(subjects)}
    stated = np.zeros((len(subjects), x.shape[0]), np.int8)
    for base, one in zip(bases, found, strict=False):
        for chunk, subject in one.claims:
            stated[column[subject], base + chunk] = 1
    first, first_bias = fit(x, stated, settings["strength_subject"])
    pairs = [[pair for pair, told in one.claims.items() if any(told.values())] for one in found]
    pair_parts = []
    for one, some in zip(found, pairs, strict=True):
        read = one.read
        if some:
            coded = encode_pairs(one.encoded, [read], words, some)
            pair_parts.append((*coded, len(some)))
    pair_keys = frequent([numbers for _, numbers, _ in pair_parts])
    places = [base + chunk for base, some in zip(bases, pairs, strict=False) for chunk, _ in some]
    z = sp.hstack([matrix(pair_parts, pair_keys), x[places]]).tocsr()
    said = np.array(
        [
            [status in one.claims[pair] for one, some in zip(found, pairs, strict=True) for pair in some]
            for status in STATUSES
        ],
        np.int8,
    )
    second, second_bias = fit(z, said, settings["strength_status"])
    arrays = {
        "chunk_keys": chunk_keys,
        "chunk_weights": np.hstack([first, second[len(pair_keys) :]]).astype(np.float16),
        "chunk_bias": first_bias,
        "pair_keys": pair_keys,
        "pair_weights": second[: len(pair_keys)].astype(np.float16),
        "pair_bias": second_bias,
        "weigh": np.zeros(FEATURES + 1) if weigh is None else weigh,
        **gaps,
    }
    meta = {"subjects": list(subjects), "stands": settings["stands"], "least": settings["least"]}
    return arrays, meta
