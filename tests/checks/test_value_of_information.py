"""The oil wildcatter: Raiffa (1968), Decision Analysis, as given in Shenoy (1992), Operations Research 40:463-484."""

import numpy as np
import pytest

from pipeline.ranking.information import information_value, signal_worth

PRIOR = [0.5, 0.3, 0.2]
DRILL = [-70, 50, 200]
LIKELIHOOD = [[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]]


def test_oil_wildcatter() -> None:
    worth = information_value(PRIOR, [DRILL, [0, 0, 0]], LIKELIHOOD)
    assert worth.now == pytest.approx(20)
    assert worth.of_certainty == pytest.approx(35)
    assert worth.of_signal == pytest.approx(12.5)
    assert worth.with_signal - 10 == pytest.approx(22.5)
    assert np.array(PRIOR) @ np.array(LIKELIHOOD) == pytest.approx([0.41, 0.35, 0.24])


def test_samples_give_the_same_as_the_table() -> None:
    states = np.repeat([0, 1, 2], [500, 300, 200])
    assert signal_worth(np.array(DRILL)[states] @ np.array(LIKELIHOOD)[states] / len(states)) == pytest.approx(12.5)


def test_a_signal_that_tells_nothing_is_worth_nothing() -> None:
    assert information_value(PRIOR, [DRILL, [0, 0, 0]], [[0.5, 0.5]] * 3).of_signal == pytest.approx(0)


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="sum to 1"):
        information_value([0.5, 0.6], [[1, 2]], [[1.0], [1.0]])
    with pytest.raises(ValueError, match="fit"):
        information_value([0.5, 0.5], [[1, 2, 3]], [[1.0], [1.0]])
