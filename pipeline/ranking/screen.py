"""A quick look at many vehicles for one buyer: about what a visit to each is worth, without drawing samples.

Where an adviser ranks hundreds of vehicles for dozens of members, this picks the few that are then ranked in full. The
surplus after a viewing is taken as normal, so that the reservation price (see `reservation.py`) has its closed form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from pipeline.ranking.flags import red_flags
from pipeline.ranking.outside import outside_option
from pipeline.ranking.surplus import price_paid, visit_cost, worth_factor
from pipeline.ranking.verdict import far_over, must_broken
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, Prospect

Array = NDArray[np.float64]

STEPS = 60  # halvings of the interval that holds the reservation price


@dataclass(frozen=True, slots=True)
class Screened:
    """Shapes (vehicles,), buyer's currency; NaN where a vehicle has no value or no price."""

    worth: Array  # about the worth of a visit
    stopped: NDArray[np.bool_]  # a must-have is denied, a flag rules it out, or it is far over the budget
    outside: float


def screen(prospects: Sequence[Prospect], spread: Array, buyer: Buyer, rules: DecisionRules) -> Screened:
    """About what `rank` would say of each. `spread`: standard deviation of each vehicle's repair cost, (vehicles,)."""
    rows = [_row(p, float(sd), buyer, rules) for p, sd in zip(prospects, spread, strict=True)]
    mean, sd, cost = (np.array([row[n] for row in rows], dtype=np.float64) for n in range(3))
    stopped = np.array([_stopped(p, buyer, rules) for p in prospects], dtype=bool)
    ruled_out = [any(flag.disqualifies for flag in red_flags(p, buyer, rules)) for p in prospects]
    values = [p.valuation.p50 for p in prospects if p.valuation.p50 is not None]
    usual = [float(m) for m, out in zip(mean, ruled_out, strict=True) if not out and np.isfinite(m)]
    return Screened(reservation_of_normal(mean, sd, cost), stopped, outside_option(values, usual, buyer, rules))


def reservation_of_normal(mean: Array, sd: Array, cost: Array) -> Array:
    """z solving cost = E[(X - z)+] for X normal: Weitzman's reservation price, by halving. `sd`, `cost` above nought.

    The unit normal loss L(u) = phi(u) - u (1 - Phi(u)) falls in u and lies between -u and -u + L(0) below nought.
    """
    unit = cost / sd
    low, high = -unit - 1.0, np.full_like(unit, 40.0)
    for _ in range(STEPS):
        middle = (low + high) / 2
        loss = np.exp(-(middle**2) / 2) / np.sqrt(2 * np.pi) - middle * ndtr(-middle)
        low, high = np.where(loss > unit, middle, low), np.where(loss > unit, high, middle)
    return np.asarray(mean + sd * (low + high) / 2)


def _row(prospect: Prospect, repair_sd: float, buyer: Buyer, rules: DecisionRules) -> tuple[float, float, float]:
    """Mean and standard deviation of the surplus that a viewing shows, and the cost of the visit."""
    valuation = prospect.valuation
    trip = visit_cost(prospect.distance_miles or 0.0, buyer, rules)
    if valuation.log_mean is None or valuation.log_sd is None or prospect.asking_price is None:
        return np.nan, 1.0, trip
    groups = rules.purposes[buyer.purpose].repair_groups
    weighed = [(i.expected_cost * groups.get(i.group, 1.0), i.seen_on_viewing) for i in prospect.repair.items]
    repair = sum(cost for cost, _ in weighed)
    seen = sum(cost * chance for cost, chance in weighed) / repair if repair else 0.0
    value = worth_factor(prospect.evidence, buyer, rules) * np.exp(valuation.log_mean + valuation.log_sd**2 / 2)
    value_sd = value * np.sqrt(np.expm1(valuation.log_sd**2))
    mean = value - price_paid(prospect, rules) - repair
    if buyer.risk != "mean":
        share = rules.decision.worst_share
        tail = float(np.exp(-(ndtri(share) ** 2) / 2) / np.sqrt(2 * np.pi) / share)
        mean -= tail * np.hypot(value_sd, repair_sd)
    shown = np.sqrt(rules.decision.value.revealed_share * value_sd**2 + (seen * repair_sd) ** 2)
    return float(mean), float(max(shown, 1e-9)), trip


def _stopped(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> bool:
    if must_broken(prospect.evidence, buyer) or any(flag.disqualifies for flag in red_flags(prospect, buyer, rules)):
        return True
    if prospect.asking_price is None:
        return False
    return far_over(price_paid(prospect, rules), prospect.evidence, buyer, rules)
