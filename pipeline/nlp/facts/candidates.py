"""A candidate is one possible value of a fact; the best of a key wins, the others are kept as its rivals."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, NamedTuple

from pipeline.types import Fact

_CERTAIN = 8.0  # margin from which on the confidence is the highest
MOST_RIVALS = 12  # per key: a flood of numbers is no evidence


class Candidate(NamedTuple):
    """A value at text[start:end] with the features that spoke for and against it. `least`: what it needs to count."""

    key: str
    value: Any
    start: int
    end: int
    rule: str
    score: float
    least: float = 0.0
    features: tuple[str, ...] = ()
    also: tuple[tuple[str, Any], ...] = ()  # facts that stand and fall with it: currency, unit

    @property
    def confidence(self) -> float:
        """Logistic in the margin over what is needed (judgement, not a frequency), 0.5-0.99."""
        margin = self.score - self.least
        if margin <= 0.0:
            return 0.5
        if margin > _CERTAIN:
            return 0.99
        sure = 1 / (1 + math.exp(-0.6 * margin))
        return int(1000 * sure + 0.5) / 1000 if sure < 0.99 else 0.99

    def facts(self, text: str) -> list[Fact]:
        """The fact and those that stand with it."""
        return [self.fact(text), *(self._as_fact(text, key, value) for key, value in self.also)]

    def fact(self, text: str) -> Fact:
        """The fact alone."""
        return self._as_fact(text, self.key, self.value)

    def _as_fact(self, text: str, key: str, value: Any) -> Fact:
        return Fact(key, value, text[self.start : self.end], self.start, self.end, self.rule, self.confidence)


def choose(candidates: Iterable[Candidate]) -> tuple[Candidate | None, list[Candidate]]:
    """The best candidate that counts, the first of equals; and the others with another value, best first."""
    ranked = list(candidates)
    if len(ranked) < 2:
        return (ranked[0], []) if ranked and ranked[0].score >= ranked[0].least else (None, ranked)
    ranked.sort(key=lambda one: (-one.score, one.start))
    best = ranked[0] if ranked[0].score >= ranked[0].least else None
    rivals: list[Candidate] = []
    seen = {repr(best.value)} if best else set()
    for one in ranked[1:] if best else ranked:
        value = repr(one.value)
        if value not in seen:
            seen.add(value)
            rivals.append(one)
            if len(rivals) == MOST_RIVALS:
                break
    return best, rivals
