"""Properties of reservation prices, value of information and three-point draws.

Sources of the identities: Weitzman (1979), Econometrica 47:641-654; Raiffa & Schlaifer (1961).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.costing.three_point import draw
from pipeline.ranking.information import information_value
from pipeline.ranking.reservation import reservation_price

MONEY = st.floats(-1e4, 1e4).map(lambda v: round(v, 2))
COST = st.floats(0.01, 2e3).map(lambda v: round(v, 2))
POINTS = st.lists(st.tuples(MONEY, st.integers(0, 9)), min_size=1, max_size=9).filter(lambda p: any(w for _, w in p))


def split(points: list[tuple[float, int]]) -> tuple[np.ndarray, np.ndarray]:
    x, w = np.array([p[0] for p in points]), np.array([p[1] for p in points], dtype=float)
    return x, w / w.sum()


@given(POINTS, COST)
def test_the_defining_equation_holds(points: list[tuple[float, int]], cost: float) -> None:
    x, w = split(points)
    z = float(reservation_price(x, cost, w))
    assert float(np.maximum(x - z, 0) @ w) == pytest.approx(cost, abs=1e-7)


@given(POINTS, COST, st.floats(0.5, 0.99))
@example([(-100.0, 1)], 1.0, 0.9)  # nothing found is worth waiting for: z = -cost / (1 - discount)
def test_the_discounted_equation_holds(points: list[tuple[float, int]], cost: float, discount: float) -> None:
    x, w = split(points)
    z = float(reservation_price(x, cost, w, discount))
    assert z == pytest.approx(-cost + discount * float(np.maximum(x, z) @ w), abs=1e-6)


@given(POINTS, COST, MONEY, st.floats(0.1, 10))
def test_shift_and_scale(points: list[tuple[float, int]], cost: float, shift: float, scale: float) -> None:
    x, w = split(points)
    z = float(reservation_price(x, cost, w))
    assert float(reservation_price(scale * x + shift, scale * cost, w)) == pytest.approx(scale * z + shift, abs=1e-6)


@given(POINTS, COST)
def test_never_below_going_anyway_nor_above_the_best(points: list[tuple[float, int]], cost: float) -> None:
    x, w = split(points)
    z = float(reservation_price(x, cost, w))
    assert float(x @ w) - cost - 1e-7 <= z <= x[w > 0].max()


@given(POINTS, COST, st.floats(0, 500))
def test_dearer_visit_and_wider_spread(points: list[tuple[float, int]], cost: float, more: float) -> None:
    x, w = split(points)
    z = float(reservation_price(x, cost, w))
    assert float(reservation_price(x, cost + more, w)) <= z + 1e-7
    spread = np.concatenate([x - more, x + more])
    assert float(reservation_price(spread, cost, np.concatenate([w, w]) / 2)) >= z - 1e-7


@given(st.integers(0, 2**32 - 1))
def test_information_is_between_nothing_and_certainty(seed: int) -> None:
    rng = np.random.default_rng(seed)
    s, a, k = rng.integers(1, 6, 3)
    prior, like = rng.dirichlet(np.ones(s)), rng.dirichlet(np.ones(k), s)
    payoff = rng.normal(0, 1e3, (a, s))
    worth = information_value(prior, payoff, like)
    assert -1e-8 <= worth.of_signal <= worth.of_certainty + 1e-8
    garbled = information_value(prior, payoff, like @ rng.dirichlet(np.ones(4), k))  # Blackwell 1953
    assert garbled.of_signal <= worth.of_signal + 1e-8
    assert information_value(prior, payoff, np.eye(s)).of_signal == pytest.approx(worth.of_certainty, abs=1e-8)


@given(st.tuples(MONEY, MONEY, MONEY).map(sorted), st.lists(st.floats(0, 1, exclude_max=True), min_size=2, max_size=20))
def test_draws_stay_inside_and_rise_with_the_uniform(points: list[float], uniforms: list[float]) -> None:
    drawn = draw(*points, np.sort(np.array(uniforms)))
    span = points[2] - points[0]
    assert drawn.min() >= points[0] - 1e-9 and drawn.max() <= points[2] + 1e-9
    assert (np.diff(drawn) >= -1e-9 * (1 + span)).all()
