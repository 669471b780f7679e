"""Roads by the clock: which orders of viewings fit into a day with its appointments, and the cheapest for every set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Window:
    """When a vehicle can be seen: the viewing begins on day `day` (from nought) between two times, clock hours."""

    day: int
    earliest: float
    latest: float


@dataclass(frozen=True, slots=True)
class Terms:
    """Money in the buyer's currency; `start`: earliest time of leaving home, hours of the clock; `hours` till back."""

    start: float
    hours: float
    hours_there: float
    speed_mph: float
    cost_per_mile: float
    cost_per_hour: float
    fee: float
    outside: float  # surplus without a purchase


@dataclass(frozen=True, slots=True)
class Tour:
    """One day's road. Times in hours of the clock; `begins`: of each viewing."""

    order: tuple[int, ...]
    leave: float
    begins: tuple[float, ...]
    back: float
    miles: float
    cost: float


@dataclass(frozen=True, slots=True)
class Roads:
    """Road miles from home (n,) and between vehicles (n, n), and when each can be seen (None: whenever)."""

    home: Array
    between: Array
    windows: tuple[Window | None, ...]


@dataclass(frozen=True, slots=True)
class _Way:
    """A road that has not yet come home. `slack`: how much later one could have left without missing anything."""

    clock: float
    leave: float
    slack: float
    miles: float
    order: tuple[int, ...]
    begins: tuple[float, ...]


def day_out(order: Sequence[int], roads: Roads, terms: Terms, day: int) -> Tour | None:
    """The day of viewings in this order; None when it does not fit."""
    way: _Way | None = _Way(terms.start, terms.start, np.inf, 0.0, (), ())
    for i in order:
        way = _onward(way, i, roads, terms, day) if way else None
    return _home(way, roads, terms) if way else None


def cheapest_days(rows: Sequence[int], roads: Roads, terms: Terms, day: int) -> Mapping[int, Tour]:
    """For every set of `rows` that fits into the day (bit k: rows[k]) the cheapest road through it.

    Dynamic programming over sets and last stops (Held & Karp 1962). Where appointments make one wait, a road may be
    shorter and another earlier: all that no other beats in every respect are carried on (Desrosiers et al. 1995).
    """
    found = {0: Tour((), terms.start, (), terms.start, 0.0, 0.0)}
    layer: dict[tuple[int, int], list[_Way]] = {(0, -1): [_Way(terms.start, terms.start, np.inf, 0.0, (), ())]}
    while layer:
        further: dict[tuple[int, int], list[_Way]] = {}
        for (chosen, _), ways in layer.items():
            for way in ways:
                for k, i in enumerate(rows):
                    if chosen >> k & 1:
                        continue
                    on = _onward(way, i, roads, terms, day)
                    if on is not None:
                        _keep(further.setdefault((chosen | 1 << k, k), []), on)
        for (chosen, _), ways in further.items():
            for way in ways:
                tour = _home(way, roads, terms)
                if tour is not None and (chosen not in found or tour.cost < found[chosen].cost - SLACK):
                    found[chosen] = tour
        layer = further
    return found


def _onward(way: _Way, i: int, roads: Roads, terms: Terms, day: int) -> _Way | None:
    window = roads.windows[i]
    if window is not None and window.day != day:
        return None
    hop = float(roads.between[way.order[-1], i] if way.order else roads.home[i])
    arrival = way.clock + hop / terms.speed_mph
    begin, latest = (max(arrival, window.earliest), window.latest) if window else (arrival, np.inf)
    back = begin + terms.hours_there + float(roads.home[i]) / terms.speed_mph
    if arrival > latest + SLACK or back > terms.start + terms.hours + SLACK:
        return None
    shift = min(begin - arrival, way.slack)  # rather than wait there, leave home later
    return _Way(
        begin + terms.hours_there,
        way.leave + shift,
        min(way.slack - shift, latest - begin),
        way.miles + hop,
        (*way.order, i),
        (*(b + shift for b in way.begins), begin),
    )


def _home(way: _Way, roads: Roads, terms: Terms) -> Tour | None:
    if not way.order:
        return None
    last = float(roads.home[way.order[-1]])
    back, miles = way.clock + last / terms.speed_mph, way.miles + last
    cost = miles * terms.cost_per_mile + (back - way.leave) * terms.cost_per_hour + len(way.order) * terms.fee
    return Tour(way.order, way.leave, way.begins, back, miles, cost)


def _keep(ways: list[_Way], new: _Way) -> None:
    """Adds a road unless another is no worse in every respect; drops those that it beats."""
    if any(_no_worse(old, new) for old in ways):
        return
    ways[:] = [old for old in ways if not _no_worse(new, old)]
    ways.append(new)


def _no_worse(a: _Way, b: _Way) -> bool:
    return (
        a.clock <= b.clock + SLACK
        and a.leave >= b.leave - SLACK
        and a.slack >= b.slack - SLACK
        and a.miles <= b.miles + SLACK
    )
