"""Smooth curves whose slope has a prior: integrals of piecewise linear slopes.

A curve is known by its slope at a few knots (a yearly loss at 5, 10, 20 years …). Between knots the slope is linear,
beyond them constant, so that the curve itself is a quadratic spline that may fall, flatten and turn upward.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.schemas.value_priors import Curve

Floats = NDArray[np.float64]


def slope_basis(x: Floats, knots: Floats) -> Floats:
    """Share of each knot in the slope at x: shape (len(x), len(knots)), rows sum to one."""
    return np.stack([np.interp(x, knots, row) for row in np.eye(len(knots))], axis=1)


def curve_basis(x: Floats, knots: Floats, reference: float) -> Floats:
    """Integral of each knot's share of the slope from `reference` to x: shape (len(x), len(knots))."""
    return _integral(x, knots) - _integral(np.array([reference]), knots)


def curve_columns(x: Floats, curve: Curve, reference: float) -> tuple[Floats, Floats, Floats]:
    """Columns of a curve with prior mean and standard deviation of their coefficients.

    `x` and `reference` in the curve's `per` units. The last column is the slope that all knots share, so that knots
    are correlated a priori: a market that loses value fast at five years does at ten.
    """
    knots = np.array([knot.at for knot in curve.knots]) / curve.per
    x, reference = x / curve.per, reference / curve.per
    columns = np.column_stack([curve_basis(x, knots, reference), x - reference])
    mean = np.array([*(knot.mean for knot in curve.knots), 0.0])
    sd = np.array([*(knot.sd for knot in curve.knots), curve.common_sd])
    return columns, mean, sd


def _integral(x: Floats, knots: Floats) -> Floats:
    """Integral of the slope basis from the first knot."""
    at_knots = np.eye(len(knots))
    steps = np.diff(knots)[:, None] * (at_knots[1:] + at_knots[:-1]) / 2
    up_to = np.vstack([np.zeros(len(knots)), np.cumsum(steps, axis=0)])
    below = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(knots) - 1)
    start = knots[below]
    return np.asarray(
        up_to[below] + (x - start)[:, None] * (slope_basis(start, knots) + slope_basis(x, knots)) / 2, dtype=np.float64
    )
