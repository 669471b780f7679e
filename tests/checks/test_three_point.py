"""Three-point estimates against worked examples.

Source: the textbook PERT exercise with activities (2, 5, 8), (1, 2, 9) and (1/4, 1/2, 15/4) (inputs seen in a
secondary page; means and variances computed from Malcolm et al. 1959). The beta-PERT variances are computed from
(mean - a)(b - mean)/7.
"""

import numpy as np
import pytest

from pipeline.costing.three_point import beta_variance, draw, mean, variance

CASES = [((2, 5, 8), 5, 1, 1.2857), ((1, 2, 9), 3, 1.7778, 1.7143), ((0.25, 0.5, 3.75), 1, 0.3403, 0.2946)]


@pytest.mark.parametrize(("points", "middle", "classical", "beta"), CASES)
def test_mean_and_both_variances(points, middle: float, classical: float, beta: float) -> None:  # type: ignore[no-untyped-def]
    assert mean(*points) == pytest.approx(middle)
    assert variance(*points) == pytest.approx(classical, abs=5e-5)
    assert beta_variance(*points) == pytest.approx(beta, abs=5e-5)


@pytest.mark.parametrize(("points", "middle", "classical", "beta"), CASES)
def test_draws_have_the_mean_and_the_beta_variance(points, middle, classical, beta) -> None:  # type: ignore[no-untyped-def]
    uniforms = (np.arange(100_000) + 0.5) / 100_000
    drawn = draw(*points, uniforms)
    assert drawn.mean() == pytest.approx(middle, rel=1e-4)
    assert drawn.var() == pytest.approx(beta, rel=1e-3)
    assert drawn.min() >= points[0] and drawn.max() <= points[2]


def test_a_certain_cost_is_drawn_as_it_is_and_disorder_is_refused() -> None:
    assert (draw(3, 3, 3, np.array([0.1, 0.9])) == 3).all()
    with pytest.raises(ValueError, match="out of order"):
        draw(5, 4, 6, np.array([0.5]))
