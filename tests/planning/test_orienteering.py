"""The orienteering solver: exact up to 15 points against trying everything, the search against the exact beyond."""

from itertools import combinations, pairwise, permutations

import numpy as np
import pytest

from pipeline.errors import StageError
from pipeline.planning import orienteering as module
from pipeline.planning.orienteering import orienteering


def points(seed: int, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 100, (count + 1, 2))
    miles = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    return rng.integers(1, 20, count).astype(float), miles[1:, 1:], miles[0, 1:]


@pytest.mark.parametrize("rate", [0.0, 0.05])
@pytest.mark.parametrize("seed", range(6))
def test_exact_for_few_points(seed: int, rate: float) -> None:
    scores, between, home = points(seed, 6)
    best = 0.0
    for size in range(1, 7):
        for some in combinations(range(6), size):
            for order in permutations(some):
                length = home[order[0]] + sum(between[a, b] for a, b in pairwise(order))
                length += home[order[-1]]
                if length <= 180:
                    best = max(best, float(scores[list(order)].sum()) - rate * length)
    route = orienteering(scores, between, home, home, 0.0, 180.0, rate)
    assert route.proved and route.score == pytest.approx(best)


@pytest.mark.parametrize("seed", range(3))
def test_the_search_comes_near_the_exact(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    scores, between, home = points(seed, 13)
    exact = orienteering(scores, between, home, home, 0.0, 220.0, 0.02)
    monkeypatch.setattr(module, "EXACT", 5)
    searched = orienteering(scores, between, home, home, 0.0, 220.0, 0.02)
    assert exact.proved and not searched.proved
    assert 0.98 * exact.score <= searched.score <= exact.score + 1e-9


def test_a_limit_too_short_for_the_way_itself_is_refused() -> None:
    scores, between, home = points(1, 4)
    with pytest.raises(StageError, match="limit"):
        orienteering(scores, between, home, home, 10.0, 5.0)
