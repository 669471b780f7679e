"""Bayesian regression for small pools: a linear part with priors, a smooth remainder, robust noise.

    y = X b + f(Z) + e,   b ~ N(mean, diag(sd²)),   f ~ Gaussian process,   e ~ Student t

The noise of a cheap one is wider, since a part of it is an amount of money, the same for a cheap as for a dear one.
Cheap and dear are as the priors expect it, so that the widths are known before the fit.

Given the few scale parameters everything is Gaussian, so that means, intervals and leave-one-out predictions are
exact and in closed form (Rasmussen & Williams 2006, sections 2.7 and 5.4.2). The scales are set where marginal
likelihood times their prior is highest; the t noise enters as reweighting (Lange, Little & Taylor 1989, JASA 84).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

Floats = NDArray[np.float64]
JITTER = 1e-8
FIRST_ROUNDS = 3  # of reweighting before the scales are sought
SETTLED = 0.01  # change of weights below which reweighting stops
BENT = (0.0, 1.0, -2.0)  # second start of the search for noise, size and lengths of the smooth part, in prior sds


@dataclass(frozen=True, slots=True)
class Rows:
    """Vehicles as numbers. `extra`: known additional variance of log price of each row, shape (n,)."""

    linear: Floats  # (n, p)
    shape: Floats  # (n, d), in units in which one is a typical distance over which prices differ
    extra: Floats  # (n,)

    def take(self, index: NDArray[np.intp] | NDArray[np.bool_]) -> Rows:
        """The rows at an index or under a mask."""
        return Rows(self.linear[index], self.shape[index], self.extra[index])


@dataclass(frozen=True, slots=True)
class Priors:
    """Prior of the coefficients, shape (p,), the first being the level, and of the scales (median and sd of the log).

    `fall`: power of the price with which the noise falls; 0 where it is a share of the price, 1 an amount of money.
    """

    mean: Floats
    sd: Floats
    noise: tuple[float, float] = (0.13, 0.4)
    shape: tuple[float, float] = (0.08, 0.6)
    length: tuple[float, float] = (2.0, 0.7)
    degrees: float = 4.0
    fall: float = 0.0

    def width(self, rows: Rows) -> Floats:
        """Variance of the noise at each row over that at the level, shape (n,)."""
        dearer = rows.linear[:, 1:] @ self.mean[1:]
        return np.asarray(np.exp(-2 * self.fall * dearer))


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted model; all of it follows from the inverse covariance of the responses."""

    rows: Rows
    y: Floats
    priors: Priors
    log_scales: Floats  # log noise sd, log sd of the smooth part, log lengths (d,)
    weights: Floats  # (n,), one for a row that is believed, near zero for an outlier
    inverse: Floats  # (n, n)
    alpha: Floats  # inverse @ (y - prior mean)

    @property
    def noise_sd(self) -> float:
        """Standard deviation of log price that nothing explains, at the level."""
        return float(np.exp(self.log_scales[0]))

    def noise(self, rows: Rows) -> Floats:
        """Variance of log price that nothing explains, at each row, shape (m,)."""
        return self.noise_sd**2 * self.priors.width(rows)

    @property
    def coefficients(self) -> Floats:
        """Posterior mean of the linear coefficients, shape (p,)."""
        return np.asarray(self.priors.mean + self.priors.sd**2 * (self.rows.linear.T @ self.alpha))

    def predict(self, rows: Rows) -> tuple[Floats, Floats]:
        """Mean and standard deviation of a new response at each row, shapes (m,)."""
        cross = self._cross(rows)
        own = (rows.linear**2) @ self.priors.sd**2 + np.exp(2 * self.log_scales[1])
        spread = own - ((cross @ self.inverse) * cross).sum(axis=1)
        spread = np.maximum(spread, 0.0) + self.noise(rows) + rows.extra
        return rows.linear @ self.priors.mean + cross @ self.alpha, np.sqrt(spread)

    def spread_at_level(self, rows: Rows) -> Floats:
        """Standard deviation as `predict` gives it, but with the noise of the level, shape (m,)."""
        return np.asarray(np.sqrt(self.predict(rows)[1] ** 2 - self.noise(rows) + self.noise_sd**2))

    def predict_mean(self, rows: Rows) -> Floats:
        """Mean alone, shape (m,)."""
        return np.asarray(rows.linear @ self.priors.mean + self._cross(rows) @ self.alpha)

    def left_out(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of each response predicted from all others, shapes (n,)."""
        spread, noise = 1 / np.diag(self.inverse), self.noise(self.rows)
        return self.y - self.alpha * spread, np.sqrt(np.maximum(spread - noise / self.weights, 0.0) + noise)

    def predict_left_out(self, rows: Rows) -> Floats:
        """Prediction at each row by the model without each response: shape (m, n)."""
        cross = self._cross(rows)
        mean = rows.linear @ self.priors.mean + cross @ self.alpha
        return np.asarray(mean[:, None] - (cross @ self.inverse) * (self.alpha / np.diag(self.inverse)))

    def without(self, index: int) -> Fit:
        """The same model with one response deleted, scales and weights kept."""
        keep = np.arange(len(self.y)) != index
        column, pivot = self.inverse[keep, index], self.inverse[index, index]
        return replace(
            self,
            rows=self.rows.take(keep),
            y=self.y[keep],
            weights=self.weights[keep],
            inverse=self.inverse[np.ix_(keep, keep)] - np.outer(column, column) / pivot,
            alpha=self.alpha[keep] - column * (self.alpha[index] / pivot),
        )

    def refitted_without(self, index: int) -> Fit:
        """The model with one response deleted and the scales fitted anew, weights kept."""
        keep = np.arange(len(self.y)) != index
        return fit_given(
            self.rows.take(keep), self.y[keep], self.priors, self.weights[keep], self.log_scales, seek=True
        )

    def _cross(self, rows: Rows) -> Floats:
        return (rows.linear * self.priors.sd**2) @ self.rows.linear.T + _kernel(
            _squares(rows.shape, self.rows.shape), self.log_scales
        )


def fit(rows: Rows, y: Floats, priors: Priors, rounds: int = 8) -> Fit:
    """Fit `y`, shape (n,); without any response, the prior. `rounds` of reweighting at most, 1: normal noise."""
    if not len(y):
        scales = _prior_log_scales(priors, rows.shape.shape[1])
        return Fit(rows, y, priors, scales, np.ones(0), np.zeros((0, 0)), np.zeros(0))
    scales = _prior_log_scales(priors, rows.shape.shape[1])
    if rounds == 1:
        return fit_given(rows, y, priors, np.ones(len(y)), scales, seek=True)
    weights = _first_weights(y - rows.linear @ priors.mean, scales, priors.degrees)
    for turn in range(FIRST_ROUNDS + rounds - 1):
        # At first the scales stay at their prior, or the smooth part would bend to a gross error and excuse it.
        result = fit_given(rows, y, priors, weights, scales, seek=turn >= FIRST_ROUNDS)
        mean, spread = result.left_out()
        new = np.minimum((priors.degrees + 1) / (priors.degrees + ((y - mean) / spread) ** 2), 1.0)
        if turn >= FIRST_ROUNDS and np.max(np.abs(new - weights)) < SETTLED:
            return result
        weights, scales = new, result.log_scales
    return fit_given(rows, y, priors, weights, scales, seek=True)


def fit_given(rows: Rows, y: Floats, priors: Priors, weights: Floats, scales: Floats, *, seek: bool) -> Fit:
    """The fit at given weights; scales as given, or sought from there."""
    squares = _squares(rows.shape, rows.shape)
    linear = (rows.linear * priors.sd**2) @ rows.linear.T
    residual, width = y - rows.linear @ priors.mean, priors.width(rows) / weights
    if seek:
        scales = _scales(squares, linear, rows.extra, residual, width, priors, scales)
    covariance = linear + _kernel(squares, scales) + np.diag(np.exp(2 * scales[0]) * width + rows.extra + JITTER)
    inverse = cho_solve(cho_factor(covariance, lower=True), np.eye(len(y)))
    return Fit(rows, y, priors, scales, weights, inverse, inverse @ residual)


def _squares(a: Floats, b: Floats) -> Floats:
    """Squared differences by input, shape (d, len(a), len(b))."""
    return np.asarray((a.T[:, :, None] - b.T[:, None, :]) ** 2, dtype=np.float64)


def _kernel(squares: Floats, scales: Floats) -> Floats:
    """Covariance of the smooth part: squared exponential with a length for each input."""
    distance = np.tensordot(np.exp(-2 * scales[2:]), squares, axes=1)
    return np.asarray(np.exp(2 * scales[1] - distance / 2), dtype=np.float64)


def _prior_log_scales(priors: Priors, inputs: int) -> Floats:
    return np.asarray(np.log([priors.noise[0], priors.shape[0], *([priors.length[0]] * inputs)]))


def _first_weights(residual: Floats, scales: Floats, degrees: float) -> Floats:
    """Weights from the distance to the median, before anything is fitted, so that a gross error cannot lead."""
    centred = residual - np.median(residual)
    spread = np.median(np.abs(centred)) * 1.4826 + np.exp(scales[0])
    return np.asarray(np.minimum((degrees + 1) / (degrees + (centred / spread) ** 2), 1.0))


def _scales(
    squares: Floats, linear: Floats, extra: Floats, residual: Floats, width: Floats, priors: Priors, start: Floats
) -> Floats:
    """Log scales at which marginal likelihood times prior is highest.

    There may be two such places, one at which the smooth part is nearly straight and one at which it bends: it is
    sought from `start` and from a bent one, and the higher one taken.
    """
    centre = _prior_log_scales(priors, len(squares))
    sds = np.array([priors.noise[1], priors.shape[1], *([priors.length[1]] * len(squares))])

    def loss(scales: Floats) -> tuple[float, Floats]:
        smooth, noise = _kernel(squares, scales), np.exp(2 * scales[0]) * width
        factor = cho_factor(linear + smooth + np.diag(noise + extra + JITTER), lower=True)
        inverse = cho_solve(factor, np.eye(len(residual)))
        alpha = inverse @ residual
        gap = (scales - centre) / sds
        value = alpha @ residual / 2 + np.log(np.diag(factor[0])).sum() + gap @ gap / 2
        slope = inverse - np.outer(alpha, alpha)  # twice the gradient with respect to the covariance
        by_smooth = slope * smooth
        lengths = np.tensordot(squares, by_smooth, axes=([1, 2], [0, 1])) * np.exp(-2 * scales[2:]) / 2
        gradient = np.concatenate([[np.diag(slope) @ noise, by_smooth.sum()], lengths])
        return float(value), gradient + gap / sds

    bent = centre + sds * np.array([*BENT[:2], *([BENT[2]] * len(squares))])
    bounds = [(c - 5, c + 5) for c in centre]
    found = [minimize(loss, first, jac=True, method="L-BFGS-B", bounds=bounds) for first in (start, bent)]
    return np.asarray(min(found, key=lambda place: float(place.fun)).x, dtype=np.float64)
