"""About the sound value of very many vehicles by the prices of a few: the middle alone, without interval or reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from pipeline.schemas.value_priors import ValuePriors
from pipeline.types import Buyer, Comparable
from pipeline.valuation.hedonic import fit, fit_given
from pipeline.valuation.learn import learn
from pipeline.valuation.pool import build_pool

Floats = NDArray[np.float64]


class Middles:
    """The value model of a sample, its scales and weights kept: for others only its columns are made anew."""

    def __init__(self, sample: Sequence[Comparable], priors: ValuePriors, buyer: Buyer, as_of: date) -> None:
        self._learned, self._priors, self._as_of = learn(sample, priors, buyer, as_of), priors, as_of
        places = np.flatnonzero(self._learned.place >= 0)
        self._taught = [sample[int(n)] for n in places]  # in the order of the fit's rows
        self._miles = self._learned.pool.miles[places]
        self._knows = bool(len(places)) or buyer.guide_price is not None

    def of(self, vehicles: Sequence[Comparable]) -> Floats:
        """The middle sound value of each, (vehicles,), buyer's currency; nan where `value` would give none."""
        if not self._knows or not vehicles:
            return np.full(len(vehicles), np.nan)
        model, count = self._learned.jackknife.fit, len(self._taught)
        told = np.array([np.nan if v.mileage_miles is None else v.mileage_miles for v in vehicles])
        pool = build_pool(
            [*self._taught, *vehicles],
            np.concatenate([self._miles, told]),
            self._priors,
            self._as_of,
            self._learned.pool.middle_miles,
        )
        mean, sd = pool.mean.copy(), pool.sd.copy()
        mean[0], sd[0] = model.priors.mean[0], model.priors.sd[0]
        own, rows = replace(model.priors, mean=mean, sd=sd), pool.rows.take(np.arange(count))
        if count:
            model = fit_given(rows, model.y, own, model.weights, model.log_scales, seek=False)
        else:
            model = fit(rows, model.y, own)
        return np.exp(model.predict_mean(pool.sold.take(np.arange(count, count + len(vehicles)))))
