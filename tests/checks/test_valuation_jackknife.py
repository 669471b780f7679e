"""Jackknife+ (Barber, Candès, Ramdas & Tibshirani 2021) against its definition, and its promise by simulation."""

import numpy as np
import pytest

from pipeline.valuation.hedonic import Priors, Rows, fit
from pipeline.valuation.intervals import Jackknife, least_comparables, order_statistic


def test_a_finite_ninety_per_cent_interval_needs_nine() -> None:
    assert least_comparables(0.9) == 9 and least_comparables(0.8) == 4
    for count in (8, 9):
        ends = [order_statistic(np.arange(float(count)), 0.1, lower=lower) for lower in (True, False)]
        assert np.isfinite(ends).all() == (count == 9)


def test_order_statistics_are_the_papers() -> None:
    """q+ is the ceil((1 - alpha)(n + 1))-th smallest, q- the floor(alpha (n + 1))-th."""
    values = np.arange(1.0, 20.0)
    assert order_statistic(values, 0.1, lower=False) == 18 and order_statistic(values, 0.1, lower=True) == 2
    assert order_statistic(values, 0.25, lower=False) == 15 and order_statistic(values, 0.25, lower=True) == 5


def a_sample(rng: np.random.Generator, count: int, heavy: bool) -> tuple[Rows, np.ndarray]:
    x = np.column_stack([np.ones(count), rng.normal(size=(count, 2))])
    noise = rng.standard_t(3, count) * 0.1 if heavy else rng.normal(0, 0.15, count)
    return Rows(x, x[:, 1:], np.zeros(count)), x @ [8.5, -0.3, 0.1] + 0.1 * np.sin(2 * x[:, 1]) + noise


PRIORS = Priors(np.array([8.0, -0.2, 0.0]), np.array([1.5, 0.2, 0.2]))


@pytest.mark.parametrize("heavy", [False, True])
@pytest.mark.parametrize("count", [12, pytest.param(30, marks=pytest.mark.slow), 70])
def test_coverage_on_simulated_prices(count: int, heavy: bool) -> None:
    """At least 1 - 2 alpha by the theorem; near 1 - alpha in fact. Anew up to 60, beyond in closed form."""
    rng = np.random.default_rng(count)
    inside = []
    for _ in range(40):
        rows, y = a_sample(rng, count, heavy)
        new, truth = a_sample(rng, 20, heavy)
        low, high = Jackknife.of(fit(rows, y, PRIORS)).interval(new, 0.9)
        inside.append(np.mean((low <= truth) & (truth <= high)))
    assert 0.85 <= np.mean(inside) <= 0.97


def test_deleting_a_response_equals_never_having_had_it() -> None:
    """Every part and the whole, after a deletion, agree with deletion in the other order."""
    rng = np.random.default_rng(1)
    rows, y = a_sample(rng, 12, False)
    new = rows.take(np.array([4]))
    model = Jackknife.of(fit(rows, y, PRIORS))
    one, other = model.without(4).without(7), model.without(8).without(4)
    assert len(one.parts) == len(one.fit.y) == 10
    assert one.fit.predict(new)[0] == pytest.approx(other.fit.predict(new)[0], abs=1e-9)
    for a, b in zip(one.interval(new, 0.8), other.interval(new, 0.8), strict=True):
        assert a == pytest.approx(b, abs=1e-8)
