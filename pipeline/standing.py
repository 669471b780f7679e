"""Where a vehicle would stand in the ranking if its repair cost were another, all others as they are."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from pipeline.types import Ranked, Sensitive


class Standing:
    """The worths of a ranking in order, so that a place is looked up and not counted: rankings are long."""

    def __init__(self, rows: Sequence[Ranked]) -> None:
        """`rows`: a ranking, best first."""
        self._place = {row.ref: n for n, row in enumerate(rows, 1)}
        self._start: dict[str, int] = {}  # verdict -> how many stand before the first of it
        self._worths: dict[str, list[float]] = {}
        for n, row in enumerate(rows):
            self._start.setdefault(row.verdict, n)
            if row.visit_worth is not None:
                self._worths.setdefault(row.verdict, []).append(row.visit_worth)
        for worths in self._worths.values():
            worths.sort()

    def places_if(self, row: Ranked, numbers: Sequence[Sensitive]) -> tuple[tuple[int, int], ...]:
        """For each number the places with it divided and multiplied; empty for what is not ranked by its worth.

        The worth of a visit moves by what the mean cost moves, the verdict stays: near enough to tell whether a rank
        hangs on a number.
        """
        own = row.visit_worth
        if own is None:
            return ()
        worths, start = self._worths[row.verdict], self._start[row.verdict]

        def place(cost: float) -> int:
            worth = own - (cost - row.repair_cost.mean)
            return start + 1 + len(worths) - bisect_right(worths, worth) - (own > worth)

        if place(row.repair_cost.mean) != self._place.get(row.ref):
            return ()
        return tuple((place(number.low), place(number.high)) for number in numbers)
