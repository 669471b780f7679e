"""A first look at the vehicles of a very large search: what each is about worth to a buyer, and what rules it out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.itembeliefs import ItemBeliefs
from pipeline.ranking.flags import flags_of
from pipeline.ranking.surplus import worth_factor
from pipeline.ranking.verdict import must_broken
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, Evidence, RepairEstimate

Array = NDArray[np.float64]


def weighed_repair(repair: RepairEstimate, buyer: Buyer, rules: DecisionRules) -> float:
    """Expected repair cost as the buyer's purpose weighs it, buyer's currency."""
    items, groups = ItemBeliefs.of(repair.items), rules.purposes[buyer.purpose].repair_groups
    return float(items.expected @ np.array([groups.get(group, 1.0) for group in items.parts.groups]))


def as_it_stands(evidence: Evidence, sound: float, repair: float, buyer: Buyer, rules: DecisionRules) -> float:
    """What a vehicle is worth to the buyer: its sound value, by what they make of changes and records, less repairs."""
    return worth_factor(evidence, buyer, rules) * sound - repair


def ruled_out(evidence: Evidence, buyer: Buyer, rules: DecisionRules) -> str:
    """Why nothing in its price or state could make a vehicle worth a visit to this buyer; empty when nothing does."""
    against = [reason.text for reason in must_broken(evidence, buyer)]
    against += [flag.text for flag in flags_of(evidence, (), buyer, rules) if flag.disqualifies]
    return next(iter(against), "")
