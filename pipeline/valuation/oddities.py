"""Prices and mileages that cannot be what the seller meant, and prices far from the others'."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.schemas.value_priors import ValuePriors
from pipeline.types import Comparable

Floats = NDArray[np.float64]
SLIPS = (10.0, 0.1, 100.0, 0.01)  # a digit or two too many or too few


def believed_miles(
    vehicles: Sequence[Comparable], ages: Floats, priors: ValuePriors
) -> tuple[Floats, NDArray[np.bool_]]:
    """Mileage of each, nan where it is missing or impossible; and which are impossible, ten times off or worse."""
    miles = np.array([math.nan if v.mileage_miles is None else float(v.mileage_miles) for v in vehicles])
    years = np.where(np.isnan(ages), np.inf, np.maximum(ages, 1.0))
    most = np.minimum(priors.number("mileage.most"), priors.number("mileage.most_per_year") * years)
    old = np.nan_to_num(ages, nan=0.0) >= priors.number("mileage.old_years")
    least = np.where(old, priors.number("mileage.least_per_year") * np.nan_to_num(ages), 0.0)
    wrong = ~np.isnan(miles) & ((miles > most) | (miles < least) | (miles < 0))
    return np.where(wrong, np.nan, miles), wrong


def lone_years(ages: Floats, priors: ValuePriors) -> NDArray[np.bool_]:
    """Which ages lie far from every other of the pool: curves must not be followed there on one advert's word."""
    lone = np.zeros(len(ages), dtype=bool)
    known = np.flatnonzero(~np.isnan(ages))
    if len(known) > priors.number("year.lone_among"):
        order = known[np.argsort(ages[known], kind="stable")]
        gaps = np.concatenate([[np.inf], np.diff(ages[order]), [np.inf]])
        lone[order] = np.minimum(gaps[:-1], gaps[1:]) >= priors.number("year.lone")
    return lone


def doubtful_miles(miles: Floats, ages: Floats, priors: ValuePriors) -> NDArray[np.bool_]:
    """Mileages so low that the price must tell whether a digit is missing."""
    old = np.nan_to_num(ages, nan=0.0) >= priors.number("mileage.old_years")
    few = priors.number("mileage.doubtful_per_year") * np.nan_to_num(ages)
    return np.asarray(old & (np.nan_to_num(miles, nan=np.inf) < few))


def slipped_prices(gap: Floats, spread: Floats, least: float) -> NDArray[np.bool_]:
    """Which log prices miss what is expected by about a factor of ten or a hundred, and would fit without it.

    `gap`: log price less expected log price; `spread`: its standard deviation. nan where there is no price.
    `least`: the smallest factor that is called a slip.
    """
    gap = np.nan_to_num(gap)
    mended = np.min([np.abs(gap - math.log(slip)) for slip in SLIPS], axis=0)
    far = np.abs(gap) > np.maximum(math.log(least), 3 * spread)
    return np.asarray(far & (mended < np.abs(gap) / 3))
