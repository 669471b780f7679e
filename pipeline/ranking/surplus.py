"""Surplus of a vehicle to this buyer: sound value less price paid less repair cost, and what a viewing shows of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, Prospect
from pipeline.uniforms import column

Array = NDArray[np.float64]

SEED = 20262


@dataclass(frozen=True, slots=True)
class Surplus:
    """Samples, buyer's currency, (samples,) each; `seen` is the expected surplus after a viewing that shows so much."""

    value: Array
    full: Array
    seen: Array
    costs: Array  # (samples, items), weighted by the purpose
    paid: float


def surplus(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> Surplus | None:
    """None when the vehicle could not be valued or has no usable price."""
    valuation = prospect.valuation
    if valuation.log_mean is None or valuation.log_sd is None or prospect.asking_price is None:
        return None
    samples = prospect.repair.item_costs.shape[0]
    purpose = rules.purposes[buyer.purpose]
    groups = np.array([purpose.repair_groups.get(item.group, 1.0) for item in prospect.repair.items])
    costs = prospect.repair.item_costs.astype(np.float64) * groups
    factor = worth_factor(prospect, buyer, rules)
    shown = rules.decision.value.revealed_share
    a, b = (ndtri(np.clip(column(f"value {n}", samples, SEED), 1e-9, 1 - 1e-9)) for n in ("seen", "unseen"))
    sd, middle = valuation.log_sd, valuation.log_mean
    value = factor * np.exp(middle + sd * (np.sqrt(shown) * a + np.sqrt(1 - shown) * b))
    # What a viewing leaves open of the value is averaged over: the mean of a log-normal given its seen part.
    expected = factor * np.exp(middle + sd * np.sqrt(shown) * a + 0.5 * sd**2 * (1 - shown))
    paid = price_paid(prospect, rules)
    chance = np.array([item.seen_on_viewing for item in prospect.repair.items])
    looks = np.column_stack([column(f"look {item.item}", samples, SEED) for item in prospect.repair.items])
    after = np.where(looks < chance, costs, costs.mean(axis=0)).sum(axis=1)
    return Surplus(value, value - paid - costs.sum(axis=1), expected - paid - after, costs, paid)


def price_paid(prospect: Prospect, rules: DecisionRules) -> float:
    """What was agreed; else the asking price less what is expected to come off it, never below a refused offer."""
    assert prospect.asking_price is not None
    if prospect.agreed_price is not None:
        return prospect.agreed_price
    off = rules.decision.paying.off(prospect.evidence.facts.get("price_terms"))
    return max(prospect.asking_price * (1 - off), prospect.least_price or 0.0)


def worth_factor(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> float:
    """What changes and records make of the worth of a sound one to this buyer."""
    purpose, factor = rules.purposes[buyer.purpose], 1.0
    said = {(claim.subject, claim.status) for claim in prospect.evidence.claims}
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
