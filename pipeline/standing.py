"""Where a vehicle would stand in the ranking if its repair cost were another, all others as they are."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.types import Ranked, Sensitive


def places_if(rows: Sequence[Ranked], row: Ranked, numbers: Sequence[Sensitive]) -> tuple[tuple[int, int], ...]:
    """For each number the places with it divided and multiplied; empty where the vehicle is not ranked by its worth.

    The worth of a visit moves by what the mean cost moves, the verdict stays: near enough to tell whether a rank hangs
    on a number.
    """
    group = [one for one in rows if one.verdict == row.verdict and one.visit_worth is not None]
    start = next((n for n, one in enumerate(rows) if one.verdict == row.verdict), 0)

    def place(cost: float) -> int:
        worth = (row.visit_worth or 0.0) - (cost - row.repair_cost.mean)
        return start + 1 + sum((other.visit_worth or 0.0) > worth for other in group if other.ref != row.ref)

    now = next((n for n, one in enumerate(rows, 1) if one.ref == row.ref), 0)
    if row.visit_worth is None or place(row.repair_cost.mean) != now:
        return ()
    return tuple((place(number.low), place(number.high)) for number in numbers)
