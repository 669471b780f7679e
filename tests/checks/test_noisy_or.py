"""Noisy-OR against the published fever example (Pearl 1988): inhibitors .6, .2, .1 for cold, flu, malaria."""

import numpy as np
import pytest

from pipeline.costing.noisy_max import noisy_or


@pytest.mark.parametrize(
    ("present", "expected"),
    [
        ((0, 0, 0), 0.0), ((1, 0, 0), 0.4), ((0, 1, 0), 0.8), ((0, 0, 1), 0.9),
        ((1, 1, 0), 0.88), ((1, 0, 1), 0.94), ((0, 1, 1), 0.98), ((1, 1, 1), 0.988),
    ],
)  # fmt: skip
def test_fever_example(present: tuple[int, ...], expected: float) -> None:
    assert noisy_or(0.0, [0.4, 0.8, 0.9])[(*present, 1)] == pytest.approx(expected, abs=1e-12)


def test_leak_of_one_tenth() -> None:
    """Arithmetic from the formula 1 - (1 - leak) * prod(1 - q)."""
    table = noisy_or(0.1, [0.2, 0.4])[..., 1]
    np.testing.assert_allclose(table.ravel(), [0.1, 0.46, 0.28, 0.568], atol=1e-12)
