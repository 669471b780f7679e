"""Fitting the pool: who may teach, what is a slip of the pen, what the model then is."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from pipeline.schemas.value_priors import ValuePriors
from pipeline.types import Buyer, Comparable
from pipeline.valuation.hedonic import Fit, Priors, fit
from pipeline.valuation.intervals import Jackknife
from pipeline.valuation.oddities import believed_miles, doubtful_miles, lone_years, slipped_prices
from pipeline.valuation.pool import Pool, ages_of, build_pool

Floats = NDArray[np.float64]
MOST_LEARNED = 300  # prices that a model of some twenty effects is learned from: judgement
TELLING = 3  # prices that are needed to say, without a guide price, which of them is a slip


@dataclass(frozen=True, slots=True)
class Learned:
    """The model with what it was learned from. `place[i]`: row of vehicle i in the fit, -1 when not learned from."""

    pool: Pool
    jackknife: Jackknife
    place: NDArray[np.intp]
    slipped: NDArray[np.bool_]
    wrong_miles: NDArray[np.bool_]
    lone_years: NDArray[np.bool_]


def learn(vehicles: Sequence[Comparable], priors: ValuePriors, buyer: Buyer, as_of: date) -> Learned:
    """The model of a pool: mileages and prices that cannot be meant are found, set aside and not learned from."""
    ages = ages_of(vehicles, as_of)
    lone = lone_years(ages, priors)
    vehicles = [replace(v, year=None) if alone else v for v, alone in zip(vehicles, lone, strict=True)]
    ages = np.where(lone, np.nan, ages)
    miles, wrong = believed_miles(vehicles, ages, priors)
    pool = build_pool(vehicles, miles, priors, as_of)
    kept = _enough(vehicles, np.array([vehicle.kept for vehicle in vehicles]) & ~np.isnan(pool.y))
    model, slipped, place = _fit_without_slips(pool, kept, priors, buyer)
    doubtful = doubtful_miles(miles, ages, priors) & ~np.isnan(pool.y)
    if doubtful.any():
        # Few miles that the price does not show are ten times as many: compare both readings of each.
        more = build_pool(vehicles, np.where(doubtful, miles * 10, miles), priors, as_of, pool.middle_miles)
        gaps = [np.abs(pool.y - _by_others(model, p, place)) for p in (pool, more)]
        slip = doubtful & (gaps[1] < gaps[0])
        if slip.any():
            wrong = wrong | slip
            pool = build_pool(vehicles, np.where(slip, np.nan, miles), priors, as_of)
            model, slipped, place = _fit_without_slips(pool, kept, priors, buyer)
    return Learned(pool, Jackknife.of(model), place, slipped, wrong, lone)


def _enough(vehicles: Sequence[Comparable], kept: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Of a large pool a part, always the same: work grows with the cube of what is learned from, and what so many teach
    is settled. Chosen by the hash of their numbers, so that an advert more changes little of who teaches."""
    found = np.flatnonzero(kept)
    if len(found) <= MOST_LEARNED:
        return kept
    order = sorted(found.tolist(), key=lambda n: hashlib.sha256(vehicles[n].ref.encode()).digest())
    chosen = np.zeros_like(kept)
    chosen[order[:MOST_LEARNED]] = True
    return chosen


def _fit_without_slips(
    pool: Pool, kept: NDArray[np.bool_], priors: ValuePriors, buyer: Buyer
) -> tuple[Fit, NDArray[np.bool_], NDArray[np.intp]]:
    """Fits, sets aside prices that are slips of the pen or beyond belief, and fits again until none is left."""
    slipped, use = np.zeros(len(kept), dtype=bool), kept.copy()
    while True:
        model, place = _fit(pool, use, priors, buyer), _places(use)
        if not use.any() and buyer.guide_price is None:
            return model, slipped, place
        mean, spread = _expected(model, pool, place)
        found = slipped_prices(pool.y - mean, spread, priors.number("price.slip_least")) & (
            _others(place, len(model.y)) > 0
        )
        beyond = np.abs(np.nan_to_num(pool.y - mean)) > priors.number("robust.outlier_sds") * spread
        # Two lone prices a factor of ten apart cannot say which is the slip.
        if buyer.guide_price is None and use.sum() < TELLING:
            found[:] = beyond[:] = False
        slipped |= found
        again = use & ~slipped & ~beyond
        if again.sum() == use.sum():
            return model, slipped, place
        use = again


def _fit(pool: Pool, use: NDArray[np.bool_], priors: ValuePriors, buyer: Buyer) -> Fit:
    rows, y = pool.rows.take(use), pool.y[use]
    mean, sd, number = pool.mean.copy(), pool.sd.copy(), priors.number
    if buyer.guide_price is not None:
        mean[0], sd[0] = math.log(buyer.guide_price), number("level.guide_sd")
    else:
        mean[0] = np.median(y - rows.linear @ mean) if len(y) else 0.0
        sd[0] = number("level.vague_sd")
    return fit(
        rows,
        y,
        Priors(
            mean,
            sd,
            noise=(number("noise.sd"), number("noise.log_sd")),
            shape=(number("shape.sd"), number("shape.log_sd")),
            degrees=number("robust.degrees"),
            fall=number("noise.fall"),
        ),
    )


def _places(use: NDArray[np.bool_]) -> NDArray[np.intp]:
    return np.where(use, np.cumsum(use) - 1, -1)


def _others(place: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    return count - (place >= 0).astype(np.intp)


def _expected(model: Fit, pool: Pool, place: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Expected log price of each as advertised, by the others alone, with its standard deviation."""
    mean, spread = model.predict(pool.rows)
    learned = place >= 0
    left_mean, left_spread = model.left_out()
    mean[learned] = left_mean[place[learned]]
    spread[learned] = np.sqrt(left_spread[place[learned]] ** 2 + pool.rows.extra[learned])
    return mean, spread


def _by_others(model: Fit, pool: Pool, place: NDArray[np.intp]) -> Floats:
    """Expected log price of each by the others alone, at rows that need not be those learned from."""
    mean, learned = model.predict(pool.rows)[0], np.flatnonzero(place >= 0)
    mean[learned] = model.predict_left_out(pool.rows.take(learned))[np.arange(len(learned)), place[learned]]
    return mean
