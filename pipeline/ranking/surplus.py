"""Surplus of a vehicle to this buyer: sound value less price paid less repair cost, and what a viewing shows of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from pipeline.itembeliefs import ItemBeliefs
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, Draws, Evidence, Prospect
from pipeline.uniforms import column

Array = NDArray[np.float64]

SEED = 20262


@dataclass(frozen=True, slots=True)
class Surplus:
    """Samples, buyer's currency, (samples,) each; `seen` is the expected surplus after a viewing that shows so much."""

    value: Array
    full: Array
    seen: Array
    repair: Array  # total of the costs
    costs: Draws  # item costs weighted by the purpose, packed
    paid: float


@dataclass(frozen=True, slots=True)
class _Looks:
    """What a viewing shows of each item in each sample: the same of all vehicles."""

    shown: NDArray[np.bool_]  # (items x samples,)
    hidden: Array  # (samples, items), 1 where it stays hidden
    share_hidden: Array  # (items,)


def surplus(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> Surplus | None:
    """None when the vehicle could not be valued or has no usable price."""
    if not _can_be_weighed(prospect):
        return None
    costs, of = _weighted(prospect, buyer, rules)
    value, expected = _values(prospect, buyer, rules, costs.samples)
    paid, repair = price_paid(prospect, rules), costs.total()
    looks = _looks(*_seen(prospect), costs.samples)
    found = looks.shown.take(of * costs.samples + costs.rows)
    # What a viewing does not show costs what it costs in the mean.
    after = looks.hidden @ _means(costs, of)
    after += np.bincount(costs.rows[found], costs.amounts[found], costs.samples)
    return Surplus(value, value - paid - repair, expected - paid - after, repair, costs, paid)


def mean_surplus(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> float | None:
    """The mean of `Surplus.seen`, for less work than the samples themselves."""
    if not _can_be_weighed(prospect):
        return None
    costs, of = _weighted(prospect, buyer, rules)
    _, expected = _values(prospect, buyer, rules, costs.samples)
    looks = _looks(*_seen(prospect), costs.samples)
    found = looks.shown.take(of * costs.samples + costs.rows)
    after = _means(costs, of) @ looks.share_hidden + costs.amounts[found].sum() / costs.samples
    return float(expected.mean() - price_paid(prospect, rules) - after)


def _can_be_weighed(prospect: Prospect) -> bool:
    valuation = prospect.valuation
    return valuation.log_mean is not None and valuation.log_sd is not None and prospect.asking_price is not None


def _weighted(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> tuple[Draws, NDArray[np.int64]]:
    """Item costs in double precision, weighted by what the purpose makes of them, and the item of each entry."""
    draws, groups = prospect.repair.draws, rules.purposes[buyer.purpose].repair_groups
    of = draws.items()
    weights = np.array([groups.get(group, 1.0) for group in ItemBeliefs.of(prospect.repair.items).parts.groups])
    amounts, rows = draws.amounts.astype(np.float64) * weights.take(of), draws.rows.astype(np.int64)
    return Draws(draws.samples, draws.counts, rows, amounts), of


def _values(prospect: Prospect, buyer: Buyer, rules: DecisionRules, samples: int) -> tuple[Array, Array]:
    """Sound value, and what is expected of it after a viewing, (samples,) each."""
    sd, middle = prospect.valuation.log_sd, prospect.valuation.log_mean
    assert sd is not None and middle is not None
    factor, shown = worth_factor(prospect.evidence, buyer, rules), rules.decision.value.revealed_share
    a, b = _normal("value seen", samples), _normal("value unseen", samples)
    value = factor * np.exp(middle + sd * (np.sqrt(shown) * a + np.sqrt(1 - shown) * b))
    # What a viewing leaves open of the value is averaged over: the mean of a log-normal given its seen part.
    return value, factor * np.exp(middle + sd * np.sqrt(shown) * a + 0.5 * sd**2 * (1 - shown))


def _means(costs: Draws, of: NDArray[np.int64]) -> Array:
    """Mean cost of each item, (items,)."""
    return np.asarray(np.bincount(of, costs.amounts, len(costs.counts)) / costs.samples)


def _seen(prospect: Prospect) -> tuple[tuple[str, ...], tuple[float, ...]]:
    parts = ItemBeliefs.of(prospect.repair.items).parts
    return parts.ids, parts.seen_on_viewing


@lru_cache(maxsize=4)
def _looks(items: tuple[str, ...], chances: tuple[float, ...], samples: int) -> _Looks:
    """`chances`: that a viewing shows each item."""
    looks = np.stack([column(f"look {item}", samples, SEED) for item in items])
    shown = looks < np.array(chances)[:, None]
    return _Looks(shown.ravel(), np.ascontiguousarray((~shown).T, dtype=np.float64), 1 - shown.mean(axis=1))


@lru_cache(maxsize=8)
def _normal(name: str, samples: int) -> Array:
    drawn = np.asarray(ndtri(np.clip(column(name, samples, SEED), 1e-9, 1 - 1e-9)))
    drawn.flags.writeable = False
    return drawn


def price_paid(prospect: Prospect, rules: DecisionRules) -> float:
    """What was agreed; else the asking price less what is expected to come off it, never below a refused offer."""
    assert prospect.asking_price is not None
    if prospect.agreed_price is not None:
        return prospect.agreed_price
    return max(price_about(prospect.evidence, prospect.asking_price, rules), prospect.least_price or 0.0)


def price_about(evidence: Evidence, asking: float, rules: DecisionRules) -> float:
    """An asking price less what is expected to come off it, by its terms."""
    return asking * (1 - rules.decision.paying.off(evidence.facts.get("price_terms")))


def worth_factor(evidence: Evidence, buyer: Buyer, rules: DecisionRules) -> float:
    """What changes and records make of the worth of a sound one to this buyer."""
    purpose, factor = rules.purposes[buyer.purpose], 1.0
    said = {(claim.subject, claim.status) for claim in evidence.claims}
    if ("modified", "present") in said:
        factor *= purpose.modified
    if ("writeoff", "present") in said:
        factor *= purpose.written_off
    return factor


def visit_hours(distance_miles: float, rules: DecisionRules) -> float:
    """Hours there, at the vehicle and back. `distance_miles` by road, one way."""
    return 2 * distance_miles / rules.decision.visit.speed_mph + rules.decision.visit.hours_there


def visit_cost(distance_miles: float, buyer: Buyer, rules: DecisionRules) -> float:
    """There and back by road, the buyer's hours, a night where a day is too short, and fees; buyer's currency."""
    visit, hours = rules.decision.visit, visit_hours(distance_miles, rules)
    nights = visit.night if hours > visit.day_hours else 0.0
    return 2 * distance_miles * buyer.travel_cost_per_mile + hours * buyer.time_value_per_hour + visit.fee + nights


def call_cost(buyer: Buyer, rules: DecisionRules) -> float:
    """A telephone call, buyer's currency."""
    return rules.decision.call.hours * buyer.time_value_per_hour + rules.decision.call.fee


def viewing_outcomes(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> Array | None:
    """Samples of the surplus as a viewing would show it, (samples,), in an order of the vehicle's own.

    `surplus` uses common random numbers, so that ranks move only with evidence; where vehicles are weighed together
    what is found at one must tell nothing of another, hence the shuffle.
    """
    money = surplus(prospect, buyer, rules)
    if money is None:
        return None
    return np.asarray(money.seen[np.argsort(column(f"outcome {prospect.ref}", len(money.seen), SEED))])
