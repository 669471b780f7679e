"""Value of information before a decision (Raiffa & Schlaifer 1961, Applied Statistical Decision Theory)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class InformationValue:
    """Expected payoff of the best act now, with the signal (before its cost), and with perfect information."""

    now: float
    with_signal: float
    with_certainty: float

    @property
    def of_signal(self) -> float:
        """Expected value of sample information."""
        return self.with_signal - self.now

    @property
    def of_certainty(self) -> float:
        """Expected value of perfect information."""
        return self.with_certainty - self.now


def information_value(prior: ArrayLike, payoff: ArrayLike, likelihood: ArrayLike) -> InformationValue:
    """Value of a signal about the state.

    `prior`: (states,); `payoff`: (acts, states); `likelihood`: (states, signals), each row summing to 1.
    Raises ValueError when shapes or sums do not fit.
    """
    p, pay, like = (np.asarray(a, dtype=np.float64) for a in (prior, payoff, likelihood))
    if pay.ndim != 2 or like.ndim != 2 or not pay.shape[1] == p.size == like.shape[0]:
        raise ValueError("prior (s,), payoff (a, s) and likelihood (s, k) do not fit each other")
    if not (np.isclose(p.sum(), 1) and np.allclose(like.sum(axis=1), 1)):
        raise ValueError("the prior and each row of the likelihood must sum to 1")
    joint = p[:, None] * like  # (states, signals)
    return InformationValue(
        now=float((pay @ p).max()),
        with_signal=float((pay @ joint).max(axis=0).sum()),
        with_certainty=float(pay.max(axis=0) @ p),
    )


def signal_worth(told: Array) -> Array:
    """Worth of a signal before a go / stay decision, (...).

    `told`: (..., signals), what going pays where each signal is given, times its chance (staying pays 0).
    """
    return np.asarray(np.maximum(told, 0.0).sum(axis=-1) - np.maximum(told.sum(axis=-1), 0.0))
