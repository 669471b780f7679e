"""Jackknife+ prediction intervals (Barber, Candès, Ramdas & Tibshirani 2021, Annals of Statistics 49:486-507).

Residuals are divided by the model's own standard deviation where they were made and multiplied by the one where the
prediction is made, so that a vehicle unlike the others gets a wider interval. The noise in both is that of the level:
how it widens as prices fall is a belief of the rules, which would widen the intervals on the whole where it goes too
far. In a small pool the scales are fitted anew without each response, as the paper asks, for there they follow single
responses; in a large one they are kept and everything is in closed form.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.valuation.hedonic import Fit, Rows

Floats = NDArray[np.float64]
REFITTED = 60  # responses up to which the scales are fitted anew without each


def least_comparables(coverage: float) -> int:
    """Responses that an interval of this coverage needs to be finite: nine for 90 %."""
    return math.ceil(1 / (1 - coverage) - 1 - 1e-9)


@dataclass(frozen=True)
class Jackknife:
    """A model with the models that each lack one response, in their order; `parts` empty: in closed form."""

    fit: Fit
    parts: tuple[Fit, ...]

    @staticmethod
    def of(fit: Fit) -> Jackknife:
        """Fits a small pool anew without each response."""
        count = len(fit.y)
        return Jackknife(fit, tuple(fit.refitted_without(n) for n in range(count)) if 1 < count <= REFITTED else ())

    def without(self, index: int) -> Jackknife:
        """The same with one response deleted."""
        parts = (part.without(index - (n < index)) for n, part in enumerate(self.parts) if n != index)
        return Jackknife(self.fit.without(index), tuple(parts))

    def interval(self, rows: Rows, coverage: float) -> tuple[Floats, Floats]:
        """Lower and upper end at each row, shapes (m,), scale of the response; infinite when responses are few."""
        fit = self.fit
        if self.parts:
            without = np.stack([part.predict_mean(rows) for part in self.parts], axis=1)
        else:
            without = fit.predict_left_out(rows)
        reach = fit.spread_at_level(rows)[:, None] * self._misses
        return (
            order_statistic(without - reach, 1 - coverage, lower=True),
            order_statistic(without + reach, 1 - coverage, lower=False),
        )

    @cached_property
    def _misses(self) -> Floats:
        """How far each response lies from what the others make of it, in standard deviations; shape (n,)."""
        fit = self.fit
        if self.parts:
            own = [(part, fit.rows.take(np.array([n]))) for n, part in enumerate(self.parts)]
            mean = np.array([part.predict_mean(row)[0] for part, row in own])
            spread = np.array([part.spread_at_level(row)[0] for part, row in own])
        else:
            mean, spread = fit.left_out()
            spread = np.sqrt(spread**2 + fit.rows.extra - fit.noise(fit.rows) + fit.noise_sd**2)
        return np.asarray(np.abs(fit.y - mean) / spread)


def order_statistic(values: Floats, alpha: float, *, lower: bool) -> Floats:
    """The paper's quantiles along the last axis: floor(alpha (n+1))-th or ceil((1-alpha)(n+1))-th smallest."""
    count = values.shape[-1]
    rank = math.floor(alpha * (count + 1) + 1e-9) if lower else math.ceil((1 - alpha) * (count + 1) - 1e-9)
    if not 1 <= rank <= count:
        return np.full(values.shape[:-1], -np.inf if lower else np.inf)
    return np.asarray(np.sort(values, axis=-1)[..., rank - 1])
