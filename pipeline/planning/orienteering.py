"""The orienteering problem: which points to call at, in which order, within a limit (Tsiligirides 1984, J. Operational
Research Society 35:797-809; survey: Vansteenwegen, Souffriau & Van Oudheusden 2011, Eur. J. Op. Res. 209:1-10)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import StageError

Array = NDArray[np.float64]

EXACT = 15  # points up to which every subset is solved by dynamic programming: 2**15 sets take half a second
ROUNDS = 70  # of shaking and improving, beyond that


@dataclass(frozen=True, slots=True)
class Route:
    """Points in the order of calling, without start and end; `score` net of costs; `length` as the limit counts."""

    order: tuple[int, ...]
    score: float
    length: float
    proved: bool  # no other route is better


@dataclass(frozen=True, slots=True)
class Tours:
    """Shortest way from the start through every set of points to the end: bit i of a set stands for point i."""

    length: Array  # (2 ** points,); that of the empty set is left at nought
    _before: NDArray[np.int8]  # (2 ** points, points): the point called at before, -1 for the start
    _last: NDArray[np.int8]  # (2 ** points,)

    def order(self, chosen: int) -> tuple[int, ...]:
        """The points of a set in the order of its shortest way."""
        order, at = [], int(self._last[chosen])
        while at >= 0:
            order.append(at)
            chosen, at = chosen & ~(1 << at), int(self._before[chosen, at])
        return tuple(reversed(order))


def shortest_tours(between: Array, start: Array, end: Array) -> Tours:
    """Held & Karp (1962) over all subsets. `between`: (n, n); `start`, `end`: (n,) from the start and to the end."""
    n = len(between)
    best = np.full((1 << n, n), np.inf)
    before = np.full((1 << n, n), -1, dtype=np.int8)
    best[1 << np.arange(n), np.arange(n)] = start
    sets = np.arange(1 << n)
    count = np.bitwise_count(sets)
    for size in range(1, n):
        layer = sets[count == size]
        for j in range(n):
            without = layer[layer >> j & 1 == 0]
            ways = best[without] + between[:, j]
            k = np.argmin(ways, axis=1)
            best[without | 1 << j, j] = ways[np.arange(len(without)), k]
            before[without | 1 << j, j] = k
    closed = best + end
    last = np.argmin(closed, axis=1).astype(np.int8) if n else np.zeros(1, dtype=np.int8)
    length = closed.min(axis=1) if n else np.zeros(1)
    length[0], last[0] = 0.0, -1
    return Tours(length, before, last)


def orienteering(
    scores: Array, between: Array, start: Array, end: Array, direct: float, limit: float, rate: float = 0.0
) -> Route:
    """Most score less `rate` for each unit of length, within `limit`.

    Exact up to `EXACT` points; beyond that an iterated local search, the same on every run. `direct`: from the start
    to the end without calling anywhere. Raises StageError when even that exceeds the limit.
    """
    if direct > limit:
        raise StageError("planning: the limit does not even allow the way from the start to the end")
    scores, between, start, end = (np.asarray(a, dtype=np.float64) for a in (scores, between, start, end))
    if len(scores) > EXACT:
        return _search(scores, between, start, end, direct, limit, rate)
    tours = shortest_tours(between, start, end)
    members = np.arange(1 << len(scores))[:, None] >> np.arange(len(scores)) & 1
    net = members @ scores - rate * tours.length
    net[0] = -rate * direct
    net[tours.length > limit + 1e-9] = -np.inf
    chosen = int(np.argmax(net))
    return Route(tours.order(chosen), float(net[chosen]), float(tours.length[chosen]) if chosen else direct, True)


def _search(scores: Array, between: Array, start: Array, end: Array, direct: float, limit: float, rate: float) -> Route:
    """Iterated local search: take stretches out, put in what pays most for its detour, untangle by 2-opt."""
    n = len(scores)
    ways = np.zeros((n + 2, n + 2))  # n: start, n + 1: end
    ways[:n, :n], ways[n, :n], ways[:n, n], ways[n + 1, :n], ways[:n, n + 1] = between, start, start, end, end
    ways[n, n + 1] = ways[n + 1, n] = direct
    rng = np.random.default_rng(1984)
    best: list[int] = []
    best_net = -rate * direct

    def length(path: list[int]) -> float:
        return float(ways[[n, *path], [*path, n + 1]].sum())

    def net(path: list[int]) -> float:
        return float(scores[path].sum()) - rate * length(path)

    for power in (0.5, 1.0, 2.0, 4.0):
        path: list[int] = list(best)
        for turn in range(ROUNDS):
            liking = scores * np.exp(rng.normal(0.0, 0.4, n))  # shaken, so that near misses get their turn
            path = _fill(_untangle(path, ways, n), scores, liking, ways, n, limit, rate, power)
            value = net(path)
            if (value, -length(path)) > (best_net + 1e-9, -np.inf) or (
                abs(value - best_net) <= 1e-9 and length(path) < length(best) - 1e-9
            ):
                best, best_net = list(path), value
            if turn % 10 == 9:
                path = list(best) if turn % 20 == 9 else []
            if path:
                cut = int(rng.integers(1, max(2, len(path) // 2 + 1)))
                at = int(rng.integers(0, len(path)))
                path = [p for k, p in enumerate(path) if (k - at) % len(path) >= cut]
    return Route(tuple(best), best_net, length(best), False)


def _fill(
    path: list[int], scores: Array, liking: Array, ways: Array, n: int, limit: float, rate: float, power: float
) -> list[int]:
    """Puts in, one after another, the point with the most liking ** power for the length that it adds."""
    path = list(path)
    total = float(ways[[n, *path], [*path, n + 1]].sum())
    while True:
        outside = np.setdiff1d(np.arange(n), path)
        if not len(outside):
            return path
        a, b = np.array([n, *path]), np.array([*path, n + 1])
        added = ways[a][:, outside] + ways[b][:, outside] - ways[a, b][:, None]  # (places, points)
        place = added.argmin(axis=0)
        more = added[place, np.arange(len(outside))]
        fits = (total + more <= limit + 1e-9) & (scores[outside] - rate * more > 0)
        if not fits.any():
            return path
        pays = np.where(fits, np.maximum(liking[outside], 1e-12) ** power / np.maximum(more, 1e-9), -1.0)
        k = int(pays.argmax())
        path.insert(int(place[k]), int(outside[k]))
        total += float(more[k])
        path = _untangle(path, ways, n)
        total = float(ways[[n, *path], [*path, n + 1]].sum())


def _untangle(path: list[int], ways: Array, n: int) -> list[int]:
    """2-opt (Croes 1958): turns stretches round while that shortens the way."""
    whole = [n, *path, n + 1]
    better = True
    while better:
        better = False
        for i in range(len(whole) - 3):
            for j in range(i + 2, len(whole) - 1):
                a, b, c, d = whole[i], whole[i + 1], whole[j], whole[j + 1]
                if ways[a, c] + ways[b, d] < ways[a, b] + ways[c, d] - 1e-9:
                    whole[i + 1 : j + 1] = whole[j:i:-1]
                    better = True
    return whole[1:-1]
