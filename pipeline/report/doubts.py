"""The places that an advert makes doubtful: where a viewing is expected to show most that costs money."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.types import ItemBelief


def doubtful(items: Iterable[ItemBelief], count: int, least: float = 0.0) -> tuple[ItemBelief, ...]:
    """At most `count` items by expected cost times the chance that a viewing shows it, most first.

    What the advert admits is left out: it is known already. `least`: buyer's currency, below which a place is no doubt.
    """
    weighed = [(item.expected_cost * item.seen_on_viewing, item) for item in items if not item.admitted]
    weighed = [pair for pair in weighed if pair[0] > least]
    return tuple(item for _, item in sorted(weighed, key=lambda pair: (-pair[0], pair[1].item))[:count])
