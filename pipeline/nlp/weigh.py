"""Which of the likely claims of an advert stand: each is weighed beside the advert's other ones.

A third stage of logistic regression on top of the model's chances (stacked generalisation, Wolpert 1992, Neural
Networks 5:241-259): a claim that a stronger one about the same subject or in the same words gainsays counts for less,
and how far the rules' word is to be trusted beside the model's chance is learned. It is trained on chances of models
that had not read the advert's writer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.nlp.mentions import Mention
from pipeline.nlp.model import Guesses
from pipeline.nlp.tables import changes
from pipeline.nlp.words import Places
from pipeline.types import STATUSES, Status

LEAST = 0.04  # chance from which on a claim is weighed at all
NEAR = 0.5  # a claim is made of every chunk whose chance is at least this share of the best one's
ALIKE = 0.6  # chances that differ by less than this factor are as good as one another
TOLD = 0.1  # or, where the rules name the subject, of this chance
_FLOOR = 1e-3
_SURE = 0.3  # chance of a subject from which on a chunk counts as speaking of it
_NUMBER = len(STATUSES)
_PLACES: dict[str, int] = {status: place for place, status in enumerate(STATUSES)}
_PLAIN = 19  # features that any status has
FEATURES = _PLAIN + 2 * _NUMBER + _NUMBER * _NUMBER

Chances = NDArray[np.float64]
Which = NDArray[np.bool_]


@dataclass(slots=True)
class Candidates:
    """The claims that the model finds likely in adverts read together, in order of the guess that comes first.

    Guesses of an advert about a subject are a group. Of the guesses: `group`, the chance of each status, and whether it
    `counts`; of the groups, and each status: the `best` chance, and whether the rules have `told` it; of the
    candidates: `of`, the group, its `subject`, `place`, of the status in STATUSES, and `features`, what each is weighed
    by.
    """

    guesses: Guesses
    group: Places
    chance: Chances
    counts: Which
    best: Chances
    told: Which
    of: Places
    subject: Places
    place: Places
    features: Chances

    def claims(self) -> list[tuple[str, Status]]:
        """Subject and status of each candidate."""
        subjects = self.guesses.subjects
        pairs = zip(self.subject.tolist(), self.place.tolist(), strict=True)
        return [(subjects[subject], STATUSES[place]) for subject, place in pairs]

    def to_tell(self, sure: Which) -> tuple[Places, Places]:
        """Of the candidates that are `sure` enough, candidate and guess of every claim that is worth making.

        A candidate's guesses about as likely as the best come in order of the text, then the rest by their chance.
        """
        number = np.full(self.best.shape, -1)
        number[self.of[sure], self.place[sure]] = sure.nonzero()[0]
        named = np.array([bool(own) for own in self.guesses.own], np.bool_)
        best = self.best[self.group]
        least = np.where(self.told[self.group] & named[:, None], TOLD, NEAR * best)
        asked = number[self.group]
        guess, place = ((asked >= 0) & self.counts & (self.chance >= least)).nonzero()
        of, chance = asked[guess, place], self.chance[guess, place]
        alike = chance >= ALIKE * best[guess, place]
        turn = np.lexsort((np.where(alike, guess, -chance), ~alike, of))
        return of[turn], guess[turn]


def told_by(mentions: Sequence[Mention]) -> frozenset[tuple[str, str]]:
    """What the rules make of an advert: (subject, status)."""
    return frozenset((mention.subject, said[0]) for mention in mentions for said in mention.statuses)


def allowed(subjects: Sequence[str], limits: Mapping[str, Set[str]]) -> Which:
    """Whether a subject can have a status, shape (subjects, statuses). `limits`: those it can have, where not all."""
    can = [[status in limits.get(subject, STATUSES) for status in STATUSES] for subject in subjects]
    return np.array(can, np.bool_).reshape(len(subjects), _NUMBER)


def candidates(
    guesses: Guesses, told: Sequence[Set[tuple[str, str]]], chunks: Sequence[int], allowed: Which
) -> Candidates:
    """The claims that are worth weighing. `told`, `chunks`: of each advert, what the rules say and how many chunks."""
    size, stated = len(guesses.stated), guesses.stated
    chance = stated[:, None] * guesses.statuses
    counts = (chance >= _FLOOR) & allowed[guesses.subject] & (stated >= LEAST)[:, None]
    chance *= counts
    key = guesses.advert * len(guesses.subjects) + guesses.subject
    order = np.argsort(key, kind="stable")
    starts = changes(key[order])
    group = np.empty(size, np.int64)
    group[order] = np.repeat(np.arange(len(starts)), np.diff(starts, append=size))

    def of_groups(reduce: np.ufunc, values: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(reduce.reduceat(values[order], starts, axis=0))

    best = of_groups(np.maximum, chance)
    found = best >= LEAST
    every = np.arange(size)[:, None]
    first = of_groups(np.minimum, np.where(counts, every, size))
    top = of_groups(np.minimum, np.where(counts & (chance == best[group]), every, size))
    of, place = found.nonzero()
    turn = np.lexsort((place, first[of, place]))
    of, place = of[turn], place[turn]
    chosen, each = (of, place), np.arange(len(of))

    leader = top[chosen]  # a candidate's likeliest guess
    chances = np.where(found, best, 0.0)[of]
    sought, rival = chances[each, place], _others(chances, place)
    share = guesses.statuses[leader]
    unsaid = of_groups(np.multiply, 1 - chance)[chosen]
    surest = of_groups(np.maximum, counts * stated[:, None])[chosen]
    said = _told(guesses, told, key[order[starts]])
    is_told, statuses_told = said[chosen], said.sum(axis=1)[of]
    sure, against, ahead = _odds(sought), _odds(rival), sought > rival
    plain = [
        sure, sought, against, rival, ahead, sure - against, stated[leader] * _others(share, place),
        _beside(guesses.chunk, (chance * found[group]).max(axis=1))[leader], is_told, statuses_told > is_told,
        statuses_told > 0, is_told * sure, _odds(1 - unsaid), of_groups(np.add, counts.astype(np.int64))[chosen],
        surest, _odds(surest), of_groups(np.add, (counts & (stated > _SURE)[:, None]).astype(np.int64))[chosen],
        np.log(np.maximum(1, chunks))[guesses.advert[leader]], is_told & ahead,
    ]  # fmt: skip
    crossed = np.zeros((len(of), 2 + _NUMBER, _NUMBER))  # the status alone, with its rival's chance, and with each one
    crossed[each, 0, place] = 1.0
    crossed[each, 1, place] = rival
    crossed[each, 2 + place] = chances
    crossed[each, 2 + place, place] = 1.0
    features = np.hstack([np.stack(plain, axis=1), crossed.reshape(len(of), FEATURES - _PLAIN)])
    return Candidates(guesses, group, chance, counts, best, said, of, guesses.subject[leader], place, features)


def _others(chances: Chances, place: Places) -> Chances:
    """The greatest of each line but for the one at its place."""
    others = chances.copy()
    others[np.arange(len(others)), place] = 0.0
    return np.asarray(others.max(axis=1, initial=0.0))


def _beside(chunk: Places, most: Chances) -> Chances:
    """Beside each guess, the greatest chance that another of its chunk has."""
    starts = changes(chunk)
    sizes = np.diff(starts, append=len(chunk))
    greatest = np.repeat(np.maximum.reduceat(most, starts), sizes)
    peaks = (most == greatest).nonzero()[0]
    peaks = peaks[changes(chunk[peaks])]  # one a chunk
    rest = most.copy()
    rest[peaks] = 0.0
    beside = greatest
    beside[peaks] = np.maximum.reduceat(rest, starts)
    return beside


def _told(guesses: Guesses, told: Sequence[Set[tuple[str, str]]], keys: Places) -> Which:
    """Whether the rules tell a status of a group. `keys`: of each group."""
    subjects = guesses.subjects
    said = np.zeros((len(keys), _NUMBER), np.bool_)
    groups = {(key // len(subjects), subjects[key % len(subjects)]): group for group, key in enumerate(keys.tolist())}
    for advert, some in enumerate(told):
        for subject, status in some:
            group = groups.get((advert, subject))
            if group is not None:
                said[group, _PLACES[status]] = True
    return said


def _odds(chance: Chances) -> Chances:
    """Logarithms of odds."""
    chance = chance.clip(_FLOOR, 1 - _FLOOR)
    return np.log(chance / (1 - chance))
