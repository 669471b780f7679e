"""The regression core: closed forms against refitting and against the textbook, curves against quadrature."""

import numpy as np
import pytest

from pipeline.schemas.value_priors import Curve, Knot
from pipeline.valuation.curves import curve_basis, curve_columns, slope_basis
from pipeline.valuation.hedonic import Fit, Priors, Rows, fit, fit_given


def a_fit(count: int = 12, rounds: int = 1, outlier: float = 0.0) -> Fit:
    rng = np.random.default_rng(3)
    linear = np.column_stack([np.ones(count), rng.normal(size=(count, 2))])
    y = linear @ [8.5, -0.3, 0.2] + rng.normal(0, 0.1, count)
    y[0] += outlier
    rows = Rows(linear, linear[:, 1:], np.full(count, 0.001))
    return fit(rows, y, Priors(np.array([8.0, 0.0, 0.0]), np.array([1.5, 0.5, 0.5])), rounds)


def deleted(model: Fit, index: int) -> Fit:
    """The model given afresh without a response, its scales held."""
    keep = np.arange(len(model.y)) != index
    rows = model.rows.take(keep)
    covariance = np.linalg.inv(model.inverse)[np.ix_(keep, keep)]
    inverse = np.linalg.inv(covariance)
    residual = model.y[keep] - rows.linear @ model.priors.mean
    return Fit(rows, model.y[keep], model.priors, model.log_scales, model.weights[keep], inverse, inverse @ residual)


def test_left_out_in_closed_form_equals_refitting() -> None:
    model = a_fit(rounds=8, outlier=1.0)
    mean, spread = model.left_out()
    new = Rows(np.array([[1.0, 0.4, -0.7]]), np.array([[0.4, -0.7]]), np.zeros(1))
    elsewhere = model.predict_left_out(new)
    for n in range(len(model.y)):
        other = deleted(model, n)
        own = model.rows.take(np.array([n]))
        predicted, sd = other.predict(Rows(own.linear, own.shape, np.zeros(1)))
        assert predicted[0] == pytest.approx(mean[n], abs=1e-8)
        assert np.sqrt(sd[0] ** 2 + own.extra[0]) == pytest.approx(np.sqrt(spread[n] ** 2), abs=1e-6)
        assert other.predict(new)[0][0] == pytest.approx(elsewhere[0, n], abs=1e-8)
        assert np.allclose(model.without(n).inverse, other.inverse, rtol=1e-6)
        assert np.allclose(model.without(n).alpha, other.alpha, rtol=1e-6)


def test_without_a_smooth_part_it_is_the_conjugate_posterior() -> None:
    """Posterior mean of b: (X'X/s² + V⁻¹)⁻¹ (X'y/s² + V⁻¹ m)."""
    model = a_fit()
    priors, x, s2 = model.priors, model.rows.linear, 0.01
    tiny = Priors(priors.mean, priors.sd, noise=(0.1, 1e-6), shape=(1e-6, 1e-6))
    rows = Rows(x, model.rows.shape, np.zeros(len(x)))
    found = fit_given(rows, model.y, tiny, np.ones(len(x)), np.log([0.1, 1e-6, 2.0, 2.0]), seek=False)
    precision = np.diag(priors.sd**-2.0)
    expected = np.linalg.solve(x.T @ x / s2 + precision, x.T @ model.y / s2 + precision @ priors.mean)
    assert np.allclose(found.coefficients, expected, atol=1e-4)


def test_no_response_gives_the_prior() -> None:
    priors = Priors(np.array([8.0]), np.array([0.5]))
    empty = fit(Rows(np.zeros((0, 1)), np.zeros((0, 1)), np.zeros(0)), np.zeros(0), priors)
    mean, sd = empty.predict(Rows(np.ones((1, 1)), np.zeros((1, 1)), np.zeros(1)))
    assert mean[0] == 8.0
    assert sd[0] == pytest.approx(np.sqrt(0.5**2 + priors.noise[0] ** 2 + priors.shape[0] ** 2))


def test_an_outlier_is_weighed_down_and_moves_nothing_much() -> None:
    clean, robust, plain = a_fit(20, 8), a_fit(20, 8, outlier=2.3), a_fit(20, 1, outlier=2.3)
    assert robust.weights[0] < 0.15 and robust.weights[1:].min() > 0.3
    shift = abs(robust.coefficients - clean.coefficients).max()
    assert shift < 0.1 and shift < abs(plain.coefficients - clean.coefficients).max()


def test_scales_sit_where_the_gradient_vanishes() -> None:
    """Moving any scale lowers marginal likelihood times prior, computed here the long way."""
    model = a_fit(25)
    priors = model.priors
    centre = np.log([priors.noise[0], priors.shape[0], 2.0, 2.0])
    width = np.array([priors.noise[1], priors.shape[1], 0.7, 0.7])

    def log_posterior(scales: np.ndarray) -> float:
        z = model.rows.shape / np.exp(scales[2:])
        smooth = np.exp(2 * scales[1] - ((z[:, None] - z[None]) ** 2).sum(-1) / 2)
        x = model.rows.linear * priors.sd
        covariance = x @ x.T + smooth + np.diag(np.exp(2 * scales[0]) + model.rows.extra)
        residual = model.y - model.rows.linear @ priors.mean
        half = np.linalg.slogdet(covariance)[1] + residual @ np.linalg.solve(covariance, residual)
        return float(-half / 2 - (((scales - centre) / width) ** 2).sum() / 2)

    best = log_posterior(model.log_scales)
    for n in range(4):
        for step in (-0.1, 0.1):
            moved = model.log_scales.copy()
            moved[n] += step
            assert log_posterior(moved) < best


def test_noise_falls_with_the_price_that_the_priors_expect() -> None:
    """A row half as dear has twice the noise variance at the root; at the level nothing changes."""
    linear = np.array([[1.0, 0.0], [1.0, np.log(2)]])
    rows = Rows(linear, np.zeros((2, 1)), np.zeros(2))
    priors = Priors(np.array([8.0, -1.0]), np.array([1.5, 0.1]), fall=0.5)
    assert priors.width(rows) == pytest.approx([1.0, 2.0])
    model = fit_given(rows, np.array([8.0, 7.0]), priors, np.ones(2), np.log([0.2, 1e-6, 2.0]), seek=False)
    covariance = (linear * priors.sd**2) @ linear.T + np.diag([0.04 + 1e-8, 0.08 + 1e-8])
    assert np.linalg.inv(model.inverse) == pytest.approx(covariance, abs=1e-6)
    wide, level = model.predict(rows)[1], model.spread_at_level(rows)
    assert wide[0] == pytest.approx(level[0]) and wide[1] ** 2 - level[1] ** 2 == pytest.approx(0.04)


def test_a_bend_is_found_though_the_search_begins_where_all_is_straight() -> None:
    """From a start with a smooth part next to nothing and long, the gradient leads nowhere near a sharp wave."""
    x = np.linspace(-1, 1, 30)
    rows = Rows(np.ones((30, 1)), x[:, None], np.zeros(30))
    y = 8 + 0.3 * np.sin(6 * x) + np.random.default_rng(2).normal(0, 0.03, 30)
    priors = Priors(np.array([8.0]), np.array([1.5]))
    straight = np.log([0.2, 1e-3, 20.0])
    found = fit_given(rows, y, priors, np.ones(30), straight, seek=True)
    assert found.noise_sd < 0.06 and np.exp(found.log_scales[2]) < 1.0


def test_curve_is_the_integral_of_its_slope() -> None:
    knots = np.array([0.0, 10.0, 25.0])
    slopes = np.array([-0.1, -0.04, 0.02])
    x = np.array([-3.0, 0.0, 4.0, 10.0, 19.0, 25.0, 40.0])
    curve = curve_basis(x, knots, reference=12.0) @ slopes
    for value, at in zip(curve, x, strict=True):
        grid = np.linspace(12.0, at, 20_001)
        assert value == pytest.approx(np.trapezoid(slope_basis(grid, knots) @ slopes, grid), abs=1e-6)


def test_curve_columns_end_with_the_shared_slope() -> None:
    knots = (Knot(at=0, mean=-0.05, sd=0.01), Knot(at=100_000, mean=-0.03, sd=0.01))
    curve = Curve(id="mileage", per=10_000, common_sd=0.02, source="test", knots=knots)
    columns, mean, sd = curve_columns(np.array([50_000.0, 80_000.0]), curve, 50_000.0)
    assert columns[0] == pytest.approx(np.zeros(3)) and columns[1, -1] == pytest.approx(3.0)
    assert mean.tolist() == [-0.05, -0.03, 0.0] and sd[-1] == 0.02
    assert columns[1] @ mean == pytest.approx(-3 * (0.05 - 0.02 * 0.65))
