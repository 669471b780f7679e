"""Which of the likely claims of an advert stand: each is weighed beside the advert's other ones.

A third stage of logistic regression on top of the model's chances (stacked generalisation, Wolpert 1992, Neural
Networks 5:241-259): a claim that the rules make too counts for more, one that a stronger claim about the same subject
or in the same words gainsays for less. It is trained on chances of models that had not read the advert's writer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from math import log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.nlp.mentions import Mention
from pipeline.nlp.model import Guess
from pipeline.types import STATUSES, Status

LEAST = 0.04  # chance from which on a claim is weighed at all
NEAR = 0.5  # a claim is made of every chunk whose chance is at least this share of the best one's
ALIKE = 0.6  # chances that differ by less than this factor are as good as one another
TOLD = 0.1  # or, where the rules name the subject, of this chance
_FLOOR = 1e-3
_SURE = 0.3  # chance of a subject from which on a chunk counts as speaking of it
_NUMBER = len(STATUSES)
FEATURES = 19 + 2 * _NUMBER + _NUMBER * _NUMBER


class Candidate(NamedTuple):
    """A claim that the model finds likely: its guesses, most likely first, with the chance that each gives it."""

    subject: str
    status: Status
    told: bool  # by the rules too
    guesses: tuple[tuple[float, Guess], ...]

    @property
    def chance(self) -> float:
        return self.guesses[0][0]

    def in_turn(self) -> list[tuple[float, Guess]]:
        """The guesses about as likely as the best in order of the text, then the rest by their chance."""
        alike = ALIKE * self.chance
        return sorted(self.guesses, key=lambda one: (one[0] < alike, one[1].chunk if one[0] >= alike else -one[0]))


def told_by(mentions: Sequence[Mention]) -> frozenset[tuple[str, str]]:
    """What the rules make of an advert: (subject, status)."""
    return frozenset((mention.subject, said[0]) for mention in mentions for said in mention.statuses)


def candidates(guesses: Sequence[Guess], told: Set[tuple[str, str]], limits: Mapping[str, Set[str]]) -> list[Candidate]:
    """The claims of an advert that are worth weighing. `limits`: statuses that a subject can have, where not all."""
    by: dict[tuple[str, Status], list[tuple[float, Guess]]] = {}
    for guess in guesses:
        if guess.stated < LEAST:
            continue
        allowed = limits.get(guess.subject)
        for status, chance in guess.chances():
            if chance >= _FLOOR and (allowed is None or status in allowed):
                by.setdefault((guess.subject, status), []).append((chance, guess))
    return [
        Candidate(subject, status, (subject, status) in told, tuple(sorted(some, key=lambda one: -one[0])))
        for (subject, status), some in by.items()
        if max(chance for chance, _ in some) >= LEAST
    ]


def features(found: Sequence[Candidate], told: Set[tuple[str, str]], chunks: int) -> NDArray[np.float64]:
    """What each candidate is weighed by, shape (candidates, FEATURES). `chunks`: of the advert."""
    of_subject: dict[str, list[float]] = {}
    in_chunk: dict[int, dict[str, float]] = {}
    for one in found:
        row = of_subject.setdefault(one.subject, [0.0] * _NUMBER)
        row[STATUSES.index(one.status)] = one.chance
        for chance, guess in one.guesses:
            there = in_chunk.setdefault(guess.chunk, {})
            there[one.subject] = max(chance, there.get(one.subject, 0.0))
    named = {subject for subject, _ in told}
    size = log(max(1, chunks))
    return np.array([_row(one, of_subject[one.subject], in_chunk, told, named, size) for one in found]).reshape(
        -1, FEATURES
    )


def _row(
    one: Candidate,
    chances: Sequence[float],
    in_chunk: Mapping[int, Mapping[str, float]],
    told: Set[tuple[str, str]],
    named: Set[str],
    size: float,
) -> list[float]:
    place = STATUSES.index(one.status)
    chance, best = one.guesses[0]
    others = [other for number, other in enumerate(chances) if number != place]
    rival = max(others)
    stated = [guess.stated for _, guess in one.guesses]
    beside = max((most for subject, most in in_chunk[best.chunk].items() if subject != one.subject), default=0.0)
    here = best.stated * max(p for number, p in enumerate(best.statuses) if number != place)
    unsaid = 1.0
    for other, _ in one.guesses:
        unsaid *= 1 - other
    sure, against = _odds(chance), _odds(rival)
    gainsaid = any((one.subject, status) in told for status in STATUSES if status != one.status)
    row = [
        sure, chance, against, rival, float(chance > rival), sure - against, here, beside,
        float(one.told), float(gainsaid), float(one.subject in named), one.told * sure, _odds(1 - unsaid),
        float(len(one.guesses)), max(stated), _odds(max(stated)), float(sum(p > _SURE for p in stated)), size,
        float(one.told and chance > rival),
    ]  # fmt: skip
    mine = [float(number == place) for number in range(_NUMBER)]
    row += mine + [is_it * rival for is_it in mine]
    row += [is_it * (other if number != place else 1.0) for is_it in mine for number, other in enumerate(chances)]
    return row


def _odds(chance: float) -> float:
    chance = min(max(chance, _FLOOR), 1 - _FLOOR)
    return log(chance / (1 - chance))
