"""A guess at what a vehicle's repairs come to, learned from others that were worked out in full: for a first look.

Ridge regression (Hoerl & Kennard 1970) of the expected cost on what the advert tells, its strength chosen by leaving
one out. Nothing rests on it but which vehicles of a very large search are worked out at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.signs import test_outcome
from pipeline.types import Evidence

Array = NDArray[np.float64]

GRADES = {"slight": 0.5, "plain": 1.0, "heavy": 2.0}
NAMED = ("fuel", "gearbox", "service_history", "test_state", "price_terms")
LISTED = ("variants", "named_traits")
COUNTED = {"owners": 10.0, "engine_litres": 5.0}  # facts that are numbers, and beyond what they tell no more
STRENGTHS = np.logspace(-1, 3, 15)


class CostGuess:
    """Expected first-year repair cost by what an advert tells, buyer's currency."""

    def __init__(self, evidence: Sequence[Evidence], costs: Array) -> None:
        """Learns from vehicles and their expected costs, (vehicles,)."""
        from sklearn.feature_extraction import DictVectorizer  # a second that no ordinary search need wait
        from sklearn.linear_model import RidgeCV

        self._columns = DictVectorizer(sparse=False)
        self._model = RidgeCV(STRENGTHS).fit(self._columns.fit_transform([_told(one) for one in evidence]), costs)
        self._least = float(np.min(costs))

    def of(self, evidence: Sequence[Evidence]) -> Array:
        """(vehicles,); never less than the least that was learned from."""
        if not evidence:
            return np.zeros(0)
        guessed = self._model.predict(self._columns.transform([_told(one) for one in evidence]))
        return np.asarray(np.maximum(guessed, self._least))


def _told(evidence: Evidence) -> dict[str, float]:
    """What an advert tells, as numbers of about one."""
    facts, found = evidence.facts, {"words": min(evidence.text_words, 500) / 100, "claims": len(evidence.claims) / 10}
    for claim in evidence.claims:
        name = f"{claim.subject} {claim.status}"
        found[name] = max(found.get(name, 0.0), GRADES[claim.grade] * claim.confidence)
    for key in NAMED:
        if facts.get(key) is not None:
            found[f"{key} {facts[key]}"] = 1.0
    for key in LISTED:
        found |= {f"{key} {value}": 1.0 for value in facts.get(key) or ()}
    for key, most in COUNTED.items():
        found |= _number(key, facts.get(key), most)
    found |= _number("age", evidence.age_years, 60.0) | _number("miles", evidence.mileage_miles, 400_000.0)
    return found | _test(evidence)


def _number(name: str, value: Any, most: float) -> dict[str, float]:
    return {} if value is None else {name: min(max(float(value), 0.0), most) / most * 10, f"{name} told": 1.0}


def _test(evidence: Evidence) -> dict[str, float]:
    months = test_outcome(evidence.facts, evidence.as_of)
    return {"test years": min(max(months, 0.0), 24.0) / 12} if isinstance(months, float) else {}
