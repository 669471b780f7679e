"""Which vehicles of a very large search are worked out in full: a sample, the best by a quick look, what was asked for.

A vehicle in full takes some 20 ms, and of a hundred thousand all but the first few dozen are never looked at. A sample,
the same from run to run, is worked out first and teaches what such adverts need in repairs and are worth; all are
looked at by that, and the best are worked out too. The sample also shows what the buyer has without any of these, as
all vehicles do in a smaller search.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.appraisal import Appraiser
from pipeline.costing.guess import CostGuess
from pipeline.held_readings import in_parts
from pipeline.ranking import as_it_stands, far_over, price_about, ruled_out, weighed_repair
from pipeline.refs import is_called
from pipeline.types import Evidence, PassedOver
from pipeline.valuation import Middles
from pipeline.vehicles import Vehicle, title_of

Array = NDArray[np.float64]

SPARE = 2  # times as many as are wanted are read once more, for some turn out to be ruled out
DEARER = "others look better at a quick look"
GONE = "probably gone"
FAR_OVER = "its price is beyond your budget"
NO_VALUE = "cannot be valued"


@dataclass(frozen=True, slots=True)
class Picked:
    """`full` is worked out, in the order found. `sample`: refs of those taken by chance, None where all are."""

    full: list[Vehicle]
    evidence: list[Evidence]  # of each of `full`
    sample: frozenset[str] | None = None
    passed_over: tuple[PassedOver, ...] = ()  # the likelier first


def pick(found: list[Vehicle], appraiser: Appraiser, asked: Collection[str] = ()) -> Picked:
    """All vehicles of an ordinary search. `asked`: what a person called vehicles that are wanted in full whatever."""
    rule = appraiser.decision.decision.quick_look
    if len(found) <= rule.above:
        return Picked(found, appraiser.evidence(found))
    sample = sorted(found, key=lambda vehicle: hashlib.sha256(vehicle.ref.encode()).digest())[: rule.sample]
    told = {one.ref: one for one in appraiser.evidence(sample)}
    taught = _Taught.by(sample, [told[vehicle.ref] for vehicle in sample], appraiser)
    with appraiser.record.stage("quick look"):
        looks = _Looks.at(found, taught, appraiser)
        wanted = {n for n, vehicle in enumerate(found) if vehicle.ref in told or _is_wanted(vehicle, appraiser, asked)}
        likely = [n for n in looks.order if n not in wanted and n not in looks.against][: SPARE * rule.best]
        told |= {one.ref: one for one in appraiser.evidence([found[n] for n in sorted([*likely, *wanted])])}
        best: list[int] = []
        for n in likely:
            why = ruled_out(told[found[n].ref], appraiser.search.buyer, appraiser.decision)
            if why:
                looks.against[n] = why
            elif len(best) < rule.best:
                best.append(n)
        chosen = {*wanted, *best}
        full = [found[n] for n in sorted(chosen)]
        passed = tuple(looks.passed_over(found[n], n) for n in looks.order if n not in chosen)
    return Picked(full, [told[vehicle.ref] for vehicle in full], frozenset(v.ref for v in sample), passed)


def _is_wanted(vehicle: Vehicle, appraiser: Appraiser, asked: Collection[str]) -> bool:
    """Whether the buyer recorded something of it or asks for it."""
    adverts = [snapshot.advert for snapshot in vehicle.newest]
    return bool(appraiser.known[vehicle.ref].notes) or any(is_called(vehicle.ref, adverts, word) for word in asked)


@dataclass(frozen=True, slots=True)
class _Taught:
    """What the sample teaches."""

    costs: CostGuess
    values: Middles

    @staticmethod
    def by(sample: Sequence[Vehicle], evidence: Sequence[Evidence], appraiser: Appraiser) -> _Taught:
        buyer, decision = appraiser.search.buyer, appraiser.decision
        repairs = appraiser.costed(evidence)
        costs = np.array([weighed_repair(repair, buyer, decision) for repair in repairs])
        comparables = appraiser.comparables(sample, evidence, [repair.admitted_mean for repair in repairs])
        values = Middles(comparables, appraiser.priors, buyer, appraiser.as_of)
        return _Taught(CostGuess(evidence, costs), values)


@dataclass(frozen=True, slots=True)
class _Looks:
    """A quick look at each vehicle, (vehicles,); nan where there is no price or no value."""

    worth: Array  # as it stands, buyer's currency
    asking: Array
    order: list[int]  # the likelier first
    against: dict[int, str]  # why it is not looked at further

    @staticmethod
    def at(found: Sequence[Vehicle], taught: _Taught, appraiser: Appraiser) -> _Looks:
        buyer, decision = appraiser.search.buyer, appraiser.decision
        worth, asking, gain = (np.full(len(found), np.nan) for _ in range(3))
        against: dict[int, str] = {}
        for numbers in in_parts(range(len(found))):
            vehicles = [found[n] for n in numbers]
            evidence = appraiser.evidence(vehicles)
            repair = taught.costs.of(evidence)
            # What an advert owns up to tells of its own price, of which these values know nothing.
            sound = taught.values.of(appraiser.comparables(vehicles, evidence, [0.0] * len(vehicles)))
            for n, vehicle, one, value, cost in zip(numbers, vehicles, evidence, sound, repair, strict=True):
                price = appraiser.price(one)
                worth[n] = as_it_stands(one, value, cost, buyer, decision)
                if price.amount is None:
                    against[n] = price.note or ""
                    continue
                asking[n], paid = price.amount, price_about(one, price.amount, decision)
                gain[n] = worth[n] - paid
                if vehicle.gone:
                    against[n] = GONE
                elif far_over(paid, one, buyer, decision):
                    against[n] = FAR_OVER
                elif np.isnan(value):
                    against[n] = NO_VALUE
            appraiser.progress("quick look", numbers[-1] + 1, len(found))
        return _Looks(worth, asking, np.argsort(-gain, kind="stable").tolist(), against)

    def passed_over(self, vehicle: Vehicle, n: int) -> PassedOver:
        """What is kept and told of a vehicle of which no more than this was looked at."""
        return PassedOver(
            ref=vehicle.ref,
            title=title_of(vehicle),
            adverts=tuple((snapshot.advert.advert_id, snapshot.advert.source) for snapshot in vehicle.newest),
            asking_price=_known(self.asking[n]),
            worth=_known(self.worth[n]),
            why=self.against.get(n, DEARER),
        )


def _known(number: np.float64) -> float | None:
    return None if np.isnan(number) else float(number)
