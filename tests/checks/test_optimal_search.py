"""Reservation prices against published and derived values.

Sources: Weitzman (1979), Econometrica 47:641-654, the example of two projects (the reward of 100 and the costs from a
secondary page); the discounted, plus-or-minus-half, normal and uniform cases are computed from the stated equation.
"""

from functools import cache

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtri
from scipy.stats import norm

from pipeline.ranking.reservation import reservation_price

ALPHA = (np.array([100.0, 55.0]), np.array([0.5, 0.5]), 15.0)
OMEGA = (np.array([240.0, 0.0]), np.array([0.2, 0.8]), 20.0)


def index(project, discount: float = 1.0) -> float:  # type: ignore[no-untyped-def]
    values, weights, cost = project
    return float(reservation_price(values, cost, weights, discount))


def test_two_projects_undiscounted() -> None:
    assert (index(ALPHA), index(OMEGA)) == (pytest.approx(70), pytest.approx(140))
    assert [float(v @ w) - c for v, w, c in (ALPHA, OMEGA)] == pytest.approx([62.5, 28])


def test_two_projects_at_ten_per_cent_a_period() -> None:
    assert index(ALPHA, 1 / 1.1) == pytest.approx(55.833, abs=5e-4)
    assert index(OMEGA, 1 / 1.1) == pytest.approx(86.667, abs=5e-4)
    assert index(OMEGA, 1 / 1.1**2) == pytest.approx(58.049, abs=5e-4)


def policy(projects, order, best: float = 0.0, rule=None) -> float:  # type: ignore[no-untyped-def]
    """Expected result of opening in `order`, stopping by the indices `rule` (None: by the best continuation)."""
    if not order:
        return best
    values, weights, cost = projects[order[0]]
    go = sum(w * policy(projects, order[1:], max(best, v), rule) for v, w in zip(values, weights, strict=True)) - cost
    if rule is None:
        return max(best, go)
    return go if rule[order[0]] > best else best


def test_best_and_other_order_of_the_two_projects() -> None:
    projects = (ALPHA, OMEGA)
    assert policy(projects, (1, 0)) == pytest.approx(78)
    assert policy(projects, (0, 1)) == pytest.approx(75)


def test_plus_or_minus_a_half_at_a_tenth() -> None:
    assert index((np.array([0.5, -0.5]), np.array([0.5, 0.5]), 0.1)) == pytest.approx(0.3)


def test_standard_normal_at_a_tenth() -> None:
    n = 200_000
    points = ndtri((np.arange(n) + 0.5) / n)
    exact = brentq(lambda z: norm.pdf(z) - z * norm.sf(z) - 0.1, -5, 5)
    assert exact == pytest.approx(0.90235, abs=5e-6)
    assert float(reservation_price(points, 0.1)) == pytest.approx(exact, abs=1e-4)


def test_uniform_to_a_hundred_at_one() -> None:
    n = 100_000
    points = 100 * (np.arange(n) + 0.5) / n
    assert float(reservation_price(points, 1.0)) == pytest.approx(100 - np.sqrt(200), abs=1e-3)  # 85.858


def dynamic_programming(projects) -> float:  # type: ignore[no-untyped-def]
    """Best expected result over every way of opening and stopping, whatever is known so far."""

    @cache
    def best(left: int, found: float) -> float:
        options = [found]
        for i, (values, weights, cost) in enumerate(projects):
            if left >> i & 1:
                after = (w * best(left & ~(1 << i), max(found, v)) for v, w in zip(values, weights, strict=True))
                options.append(sum(after) - cost)
        return max(options)

    return best((1 << len(projects)) - 1, 0.0)


@pytest.mark.parametrize("block", range(10))
def test_the_index_policy_is_optimal(block: int) -> None:
    """500 random instances of 2 to 7 vehicles with two or three outcomes each, against dynamic programming."""
    rng = np.random.default_rng(block)
    for _ in range(50):
        projects = []
        for _ in range(int(rng.integers(2, 8))):
            outcomes = int(rng.integers(2, 4))
            values, weights = rng.normal(0, 100, outcomes).tolist(), rng.dirichlet(np.ones(outcomes)).tolist()
            projects.append((values, weights, float(rng.uniform(0, 40))))
        z = [float(reservation_price(values, cost, weights)) for values, weights, cost in projects]
        order = tuple(sorted(range(len(projects)), key=lambda i: -z[i]))
        assert policy(projects, order, 0.0, z) == pytest.approx(dynamic_programming(projects), abs=1e-9)


def test_rows_are_solved_together_as_alone() -> None:
    rng = np.random.default_rng(3)
    values, costs = rng.normal(0, 1, (7, 500)), rng.uniform(0.01, 0.5, 7)
    together = reservation_price(values, costs)
    for row, cost, z in zip(values, costs, together, strict=True):
        assert float(np.maximum(row - z, 0).mean()) == pytest.approx(cost, abs=1e-12)


def test_wrong_costs_and_discounts_are_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        reservation_price([1.0], -1.0)
    with pytest.raises(ValueError, match="discount"):
        reservation_price([1.0], 1.0, discount=0.0)
