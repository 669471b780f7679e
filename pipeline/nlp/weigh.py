"""Which of the likely claims of an advert stand: each is weighed beside the advert's other ones.

A third stage of logistic regression on top of the model's chances (stacked generalisation, Wolpert 1992, Neural
Networks 5:241-259): a claim that a stronger one about the same subject or in the same words gainsays counts for less,
and how far the rules' word is to be trusted beside the model's chance is learned. It is trained on chances of models
that had not read the advert's writer.
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
_PLAIN, _RIVAL = 19, 3  # features that any status has, and which of them is the rival's chance
FEATURES = _PLAIN + 2 * _NUMBER + _NUMBER * _NUMBER


class Candidate(NamedTuple):
    """A claim that the model finds likely: its guesses, most likely first, with the chance that each gives it."""

    subject: str
    status: Status
    place: int  # of the status in STATUSES
    told: bool  # by the rules too
    guesses: Sequence[tuple[float, Guess]]

    @property
    def chance(self) -> float:
        return self.guesses[0][0]

    def in_turn(self) -> Sequence[tuple[float, Guess]]:
        """The guesses about as likely as the best in order of the text, then the rest by their chance."""
        if len(self.guesses) == 1:
            return self.guesses
        alike = ALIKE * self.chance
        return sorted(self.guesses, key=lambda one: (one[0] < alike, one[1].chunk if one[0] >= alike else -one[0]))


def told_by(mentions: Sequence[Mention]) -> frozenset[tuple[str, str]]:
    """What the rules make of an advert: (subject, status)."""
    return frozenset((mention.subject, said[0]) for mention in mentions for said in mention.statuses)


def candidates(guesses: Sequence[Guess], told: Set[tuple[str, str]], limits: Mapping[str, Set[str]]) -> list[Candidate]:
    """The claims of an advert that are worth weighing. `limits`: statuses that a subject can have, where not all."""
    by: dict[tuple[str, int], list[tuple[float, Guess]]] = {}
    for guess in guesses:
        _, subject, stated, statuses = guess
        if stated < LEAST:
            continue
        allowed = limits.get(subject)
        for place, share in enumerate(statuses):
            chance = stated * share
            if chance >= _FLOOR and (allowed is None or STATUSES[place] in allowed):
                by.setdefault((subject, place), []).append((chance, guess))
    found = []
    for (subject, place), some in by.items():
        if len(some) > 1:
            some.sort(key=_likeliest)
        if some[0][0] >= LEAST:
            status = STATUSES[place]
            found.append(Candidate(subject, status, place, (subject, status) in told, some))
    return found


def _likeliest(one: tuple[float, Guess]) -> float:
    return -one[0]


def features(found: Sequence[Candidate], told: Set[tuple[str, str]], chunks: int) -> NDArray[np.float64]:
    """What each candidate is weighed by, shape (candidates, FEATURES). `chunks`: of the advert."""
    return spread(rows(found, told, chunks))


def rows(found: Sequence[Candidate], told: Set[tuple[str, str]], chunks: int) -> list[list[float]]:
    """Of each candidate what its features are made of: the place of its status, the subject's chances, the rest."""
    of_subject: dict[str, list[float]] = {}
    in_chunk: dict[int, dict[str, float]] = {}
    for one in found:
        subject = one.subject
        of_subject.setdefault(subject, [0.0] * _NUMBER)[one.place] = one.chance
        for chance, guess in one.guesses:
            there = in_chunk.setdefault(guess.chunk, {})
            if chance > there.get(subject, 0.0):
                there[subject] = chance
    named: dict[str, set[str]] = {}
    for subject, status in told:
        named.setdefault(subject, set()).add(status)
    size = log(max(1, chunks))
    return [_row(one, of_subject[one.subject], in_chunk, named.get(one.subject, set()), size) for one in found]


def spread(rows: Sequence[Sequence[float]]) -> NDArray[np.float64]:
    """Features of candidates of any number of adverts, from their rows: shape (candidates, FEATURES)."""
    size = len(rows)
    table = np.array(rows).reshape(size, 1 + _NUMBER + _PLAIN)
    every, place = np.arange(size), table[:, 0].astype(np.int64)
    chances, plain = table[:, 1 : 1 + _NUMBER], table[:, 1 + _NUMBER :]
    crossed = np.zeros((size, _NUMBER, _NUMBER))  # the status with the chances of each one
    crossed[every, place] = chances
    crossed[every, place, place] = 1.0
    mine = np.zeros((size, 2, _NUMBER))  # the status alone, and with its rival's chance
    mine[every, 0, place] = 1.0
    mine[every, 1, place] = plain[:, _RIVAL]
    return np.hstack([plain, mine.reshape(size, 2 * _NUMBER), crossed.reshape(size, _NUMBER * _NUMBER)])


def _row(
    one: Candidate,
    chances: list[float],
    in_chunk: Mapping[int, Mapping[str, float]],
    told: Set[str],
    size: float,
) -> list[float]:
    """`told`: what the rules say of its subject."""
    subject, _, place, is_told, guesses = one
    chance, best = guesses[0]
    rival = max(chances[:place] + chances[place + 1 :])
    beside = 0.0
    for other, most in in_chunk[best.chunk].items():
        if most > beside and other != subject:
            beside = most
    shares = best.statuses
    here = best.stated * max(shares[:place] + shares[place + 1 :])
    stated = [guess.stated for _, guess in guesses]
    surest = max(stated)
    unsaid = 1.0
    for other_chance, _ in guesses:
        unsaid *= 1 - other_chance
    sure, against = _odds(chance), _odds(rival)
    gainsaid = len(told) > is_told
    return [
        place, *chances,
        sure, chance, against, rival, chance > rival, sure - against, here, beside,
        is_told, gainsaid, bool(told), is_told * sure, _odds(1 - unsaid),
        len(guesses), surest, _odds(surest), sum(p > _SURE for p in stated), size,
        is_told and chance > rival,
    ]  # fmt: skip


def _odds(chance: float) -> float:
    chance = min(max(chance, _FLOOR), 1 - _FLOOR)
    return log(chance / (1 - chance))
