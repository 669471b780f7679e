"""The quick look: its reservation price against the exact one."""

import numpy as np
import pytest
from scipy.stats import norm

from pipeline.ranking.reservation import reservation_price
from pipeline.ranking.screen import reservation_of_normal


@pytest.mark.parametrize(("mean", "sd", "cost"), [(0.0, 1.0, 0.1), (-800.0, 900.0, 60.0), (500.0, 50.0, 400.0)])
def test_agrees_with_the_exact_index_of_many_points(mean: float, sd: float, cost: float) -> None:
    points = norm.ppf((np.arange(200_000) + 0.5) / 200_000) * sd + mean
    quick = reservation_of_normal(np.array([mean]), np.array([sd]), np.array([cost]))[0]
    assert quick == pytest.approx(float(reservation_price(points, cost)), abs=2e-3 * sd)


def test_known_value() -> None:
    """N(0, 1) at cost 0.1: z = 0.90235, from phi(z) - z (1 - Phi(z)) = 0.1 (Weitzman 1979), solved by hand."""
    assert reservation_of_normal(np.zeros(1), np.ones(1), np.full(1, 0.1))[0] == pytest.approx(0.90235, abs=1e-5)


def test_what_has_no_value_has_no_worth() -> None:
    assert np.isnan(reservation_of_normal(np.array([np.nan]), np.ones(1), np.ones(1)))[0]
