"""What a buyer has without any of these: the outside option, in units of surplus."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer


def outside_option(values: Sequence[float], surpluses: Sequence[float], buyer: Buyer, rules: DecisionRules) -> float:
    """The surplus of going without, buyer's currency: the buyer's own figure where they give one.

    `values`: middling sound values of what was valued; `surpluses`: expected surplus, bought unseen, of those that no
    flag rules out. Whoever passes all of these by buys another of the kind sooner or later, at what such adverts ask
    and with what such vehicles need: the middle of the pool. Few adverts show that middle badly, so that it is
    weighed against the rules' own figure, which counts as `outside.adverts` adverts.
    """
    if buyer.outside_option is not None:
        return buyer.outside_option
    outside = rules.decision.outside
    middle = float(np.median(values)) if values else (buyer.guide_price or 0.0)
    own = -outside.share * middle
    if not surpluses:
        return own
    weight = len(surpluses) / (len(surpluses) + outside.adverts)
    return weight * float(np.median(surpluses)) + (1 - weight) * own
