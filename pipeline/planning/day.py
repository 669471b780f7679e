"""Which vehicles to see in a day or two and in which order: the best found counts once, the road is shared."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import StageError
from pipeline.planning.clock import Roads, Terms, Tour, Window, cheapest_days, day_out
from pipeline.planning.orienteering import orienteering

Array = NDArray[np.float64]

EXACT = 10  # vehicles up to which every set and order is weighed
ROUNDS = 12  # of the search beyond that
GRID = 256  # points of what a first day may find, on which all pairs of days are weighed
CLOSEST = 40  # pairs of days that are then weighed exactly


@dataclass(frozen=True, slots=True)
class Candidate:
    """A vehicle that may be seen. `outcomes`: (samples,) surplus after a viewing, before travel, independent of the
    other vehicles'; `worth`: visit worth, the index; an appointment made is kept."""

    ref: str
    miles: float  # by road from home, one way
    outcomes: Array
    worth: float
    appointment: Window | None = None


@dataclass(frozen=True, slots=True)
class Outing:
    """A plan. `gain`: expected surplus over going without, less what the days cost; order as in `Tour`.

    `stop_at`: surplus found on the first day from which the second is not worth setting out for; None with one day.
    """

    days: tuple[Tour, ...]
    gain: float
    stop_at: float | None


@dataclass(frozen=True, slots=True)
class Plan:
    """The best plan found, and the one that goes down the ranking while the days are long enough."""

    best: Outing
    by_index: Outing
    considered: int
    proved: bool  # every set and order of these vehicles was weighed


def plan_days(candidates: Sequence[Candidate], between: Array, terms: Terms, days: int = 1) -> Plan:
    """The plan with the highest expected result. `between`: (n, n) road miles; `days`: 1 or 2.

    A visit's worth rests on the others being further visits; seen in one day, they share the road and only the best
    of them is bought: the value of a set is E[max(best seen, outside)] - outside less the days' cost. Up to `EXACT`
    vehicles every set is weighed with its cheapest road. Beyond, the best `EXACT` by visit worth are, the rest are
    let in by turns beside those chosen, and for one day without appointments an orienteering route over all, with
    each vehicle's own value as its score, is set against it. The second day's journey is worth its cost only while
    the first has found less than its reservation price, so that it counts with that choice (Weitzman 1979).
    Raises StageError when the appointments cannot all be kept.
    """
    home = np.array([c.miles for c in candidates], dtype=np.float64)
    roads = Roads(home, np.asarray(between, dtype=np.float64), tuple(c.appointment for c in candidates))
    order = sorted(range(len(candidates)), key=lambda i: (-candidates[i].worth, candidates[i].ref))
    fixed = [i for i in order if candidates[i].appointment is not None]
    if len(fixed) > EXACT:
        raise StageError(f"planning: at most {EXACT} appointments can be planned for, not {len(fixed)}")
    first = [*fixed, *(i for i in order if i not in fixed)][:EXACT]
    best = _exact(candidates, first, roads, terms, days)
    whole = len(first) == len(candidates)
    if not whole:
        best = _search(candidates, order, fixed, best, roads, terms, days)
        if days == 1 and not fixed:
            route = day_out(_route(candidates, roads, terms), roads, terms, 0)
            best = max(best, *([_valued(candidates, (route,), terms)] if route else []), key=lambda o: o.gain)
    return Plan(
        best, _in_index_order(candidates, order, fixed, roads, terms, days), len(candidates), whole and days == 1
    )


def _exact(candidates: Sequence[Candidate], rows: Sequence[int], roads: Roads, terms: Terms, days: int) -> Outing:
    """The best of all sets of `rows` that fit; at home when that is best and nothing was agreed."""
    fixed = sum(1 << k for k, i in enumerate(rows) if candidates[i].appointment is not None)
    tables = [cheapest_days(rows, roads, terms, day) for day in range(days)]
    found = _best_found(candidates, rows, terms.outside, {chosen for table in tables for chosen in table})
    if days == 1:
        scored = [
            (float(found[chosen].mean()) - tour.cost, (chosen,))
            for chosen, tour in tables[0].items()
            if chosen & fixed == fixed
        ]
        splits: list[tuple[int, ...]] = [max(scored)[1]] if scored else []
    else:
        splits = _closest_splits(tables[0], tables[1], found, fixed)
    outings = [_valued(candidates, tuple(tables[d][s] for d, s in enumerate(split)), terms) for split in splits]
    if not outings:
        names = ", ".join(c.ref for c in candidates if c.appointment is not None)
        raise StageError(f"planning: the appointments ({names}) cannot all be kept in the hours that there are")
    return max(outings, key=lambda outing: outing.gain)


def _closest_splits(
    first: Mapping[int, Tour], second: Mapping[int, Tour], found: Mapping[int, Array], fixed: int
) -> list[tuple[int, ...]]:
    """Every pair of days that see no vehicle twice, on a grid of what the first may find; the best, best first.

    Worth of a pair: E[max(b, E[max(b, found on the second)] - its cost)] - cost of the first, b found on the first.
    """
    ones, twos = np.array(list(first)), np.array(list(second))
    every = np.concatenate([found[int(chosen)] for chosen in ones])
    grid = np.linspace(every.min(), every.max() + 1e-9, GRID)
    going = np.stack([_after_second(grid, found[int(s)], second[int(s)].cost) if s else grid for s in twos])
    better = np.maximum(going, grid)  # (second days, grid)
    share = np.stack([_spread_over(found[int(s)], grid) for s in ones])  # (first days, grid)
    worth = share @ better.T - np.array([first[int(s)].cost for s in ones])[:, None]
    worth[(ones[:, None] & twos[None, :]) != 0] = -np.inf
    worth[((ones[:, None] | twos[None, :]) & fixed) != fixed] = -np.inf
    best = np.argsort(-worth, axis=None)[:CLOSEST]
    pairs = zip(*np.unravel_index(best, worth.shape), strict=True)
    return [(int(ones[a]), int(twos[b])) for a, b in pairs if np.isfinite(worth[a, b])]


def _after_second(found: Array, second: Array, cost: float) -> Array:
    """E[max(b, second)] - cost for each b found before; independence lets the samples be crossed."""
    ordered = np.sort(second)
    total = np.concatenate([np.cumsum(ordered[::-1])[::-1], [0.0]])
    below = np.searchsorted(ordered, found)
    return np.asarray((below * found + total[below]) / len(ordered) - cost)


def _spread_over(samples: Array, grid: Array) -> Array:
    """Samples as weights of the grid's points on either side, shape of the grid, summing to one."""
    at = np.clip((samples - grid[0]) / (grid[1] - grid[0]), 0, len(grid) - 1 - 1e-9)
    low = at.astype(int)
    weights = np.bincount(low, 1 - (at - low), len(grid)) + np.bincount(low + 1, at - low, len(grid))
    return np.asarray(weights / len(samples))


def _best_found(
    candidates: Sequence[Candidate], rows: Sequence[int], outside: float, sets: Iterable[int]
) -> dict[int, Array]:
    """Best surplus of each set's vehicles, or the outside option, (samples,)."""
    known: dict[int, Array] = {0: np.full(len(candidates[0].outcomes) if candidates else 1, outside)}

    def best(chosen: int) -> Array:
        if chosen not in known:
            top = chosen.bit_length() - 1
            known[chosen] = np.maximum(best(chosen & ~(1 << top)), candidates[rows[top]].outcomes)
        return known[chosen]

    return {chosen: best(chosen) for chosen in sets}


def _valued(candidates: Sequence[Candidate], days: tuple[Tour, ...], terms: Terms) -> Outing:
    best, cost = _best_of(candidates, days[0], terms.outside), days[0].cost
    if len(days) == 1 or not days[1].order:
        return Outing(days, float(best.mean()) - terms.outside - cost, None)
    second = _best_of(candidates, days[1], -np.inf)
    going = _after_second(best, second, days[1].cost)
    gain = float(np.maximum(best, going).mean()) - terms.outside - cost
    # Weitzman's reservation price of the second day as one box.
    tops = np.cumsum(np.sort(second)[::-1]) / len(second)
    share = np.arange(1, len(second) + 1) / len(second)
    return Outing(days, gain, float(((tops - days[1].cost) / share).max()))


def _best_of(candidates: Sequence[Candidate], tour: Tour, floor: float) -> Array:
    size = len(candidates[0].outcomes) if candidates else 1
    found = np.full(size, floor)
    for i in tour.order:
        found = np.maximum(found, candidates[i].outcomes)
    return found


def _search(
    candidates: Sequence[Candidate],
    order: Sequence[int],
    fixed: Sequence[int],
    best: Outing,
    roads: Roads,
    terms: Terms,
    days: int,
) -> Outing:
    """Lets the vehicles not yet weighed in beside those chosen, as many at a time as can be solved exactly."""
    for _ in range(ROUNDS):
        before = best.gain
        chosen = list(dict.fromkeys([*fixed, *(i for tour in best.days for i in tour.order)]))
        rest = [i for i in order if i not in chosen]
        room = EXACT - len(chosen)
        if room <= 0:
            break
        for at in range(0, len(rest), room):
            found = _exact(candidates, [*chosen, *rest[at : at + room]], roads, terms, days)
            if found.gain > best.gain + 1e-9:
                best = found
                break
        if best.gain <= before + 1e-9:
            break
    return best


def _route(candidates: Sequence[Candidate], roads: Roads, terms: Terms) -> tuple[int, ...]:
    """The orienteering route over all: hours at a vehicle as miles of road, half before and half after."""
    alone = np.array([np.maximum(c.outcomes - terms.outside, 0).mean() for c in candidates])
    stay = terms.hours_there * terms.speed_mph
    rate = terms.cost_per_mile + terms.cost_per_hour / terms.speed_mph
    # The hours there cost no miles: what the route charges for them by the mile is given back.
    scores = alone - terms.fee + terms.cost_per_mile * stay
    reach = roads.home + stay / 2
    return orienteering(scores, roads.between + stay, reach, reach, 0.0, terms.hours * terms.speed_mph, rate).order


def _in_index_order(
    candidates: Sequence[Candidate],
    order: Sequence[int],
    fixed: Sequence[int],
    roads: Roads,
    terms: Terms,
    days: int,
) -> Outing:
    """Down the ranking, each visit added at the end of the road of the first day that is long enough for it.

    Appointments come first, in the order of the clock.
    """
    tours: list[tuple[int, ...]] = [() for _ in range(days)]
    appointed = sorted(fixed, key=lambda i: _when(candidates[i]))
    for i in (*appointed, *(i for i in order if i not in fixed)):
        for day in range(days):
            longer = (*tours[day], i)
            if day_out(longer, roads, terms, day) is not None:
                tours[day] = longer
                break
    at_home = Tour((), terms.start, (), terms.start, 0.0, 0.0)
    days_out = tuple((day_out(tour, roads, terms, d) if tour else None) or at_home for d, tour in enumerate(tours))
    return _valued(candidates, days_out, terms)


def _when(candidate: Candidate) -> tuple[int, float]:
    window = candidate.appointment
    return (window.day, window.earliest) if window else (0, 0.0)
