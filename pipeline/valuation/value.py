"""Sound value of every vehicle of a search, each judged by the others' prices and never by its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from scipy.stats import t as student

from pipeline.schemas.value_priors import ValuePriors
from pipeline.types import Buyer, Comparable, Reason, Valuation
from pipeline.valuation.hedonic import Fit, Rows
from pipeline.valuation.intervals import Jackknife, least_comparables
from pipeline.valuation.learn import Learned, learn
from pipeline.valuation.pool import added_back, discount, usable_price
from pipeline.valuation.reasons import explain, explain_flags

Floats = NDArray[np.float64]
SPREAD = 0.8  # p10 to p90
FLAGGED = 0.9  # prices outside this interval are called far off
ENOUGH = least_comparables(FLAGGED)  # nine: below it no interval can come from the adverts alone
LEAST_REACH = 0.5  # of an interval to either side, in the model's standard deviations
START = 5  # adverts from which a value is said to come from the pool


def value(comparables: Sequence[Comparable], priors: ValuePriors, buyer: Buyer, as_of: date) -> list[Valuation]:
    """Valuations in the order of `comparables`, buyer's currency.

    A vehicle's own price is left out of its value (it counts only in how much like vehicles differ). With nothing to
    go on, neither another price nor the buyer's guide price, all figures are None and a reason says so.
    """
    if not comparables:
        return []
    learned = learn(comparables, priors, buyer, as_of)
    return [_one(n, vehicle, learned, priors, buyer) for n, vehicle in enumerate(comparables)]


def _one(n: int, vehicle: Comparable, learned: Learned, priors: ValuePriors, buyer: Buyer) -> Valuation:
    pool = learned.pool
    others = learned.jackknife if learned.place[n] < 0 else learned.jackknife.without(int(learned.place[n]))
    model = others.fit
    count, here = len(model.y), np.array([n])
    odd = {
        "price_typo": learned.slipped[n],
        "mileage_typo": learned.wrong_miles[n],
        "year_typo": learned.lone_years[n],
    }
    flags = [name for name, on in odd.items() if on]
    price = usable_price(vehicle)
    if count == 0 and buyer.guide_price is None:
        text = "Cannot be valued: no other advert here has a usable price, and buyer.toml gives no guide_price."
        reasons = (Reason(text, "value.none"), *explain_flags(vehicle, flags, buyer.currency))
        struck = None if price is None else price * (1 - discount(vehicle, priors))
        return Valuation(
            vehicle.ref, None, None, None, None, None, None, "none", 0, reasons, tuple(flags), expected_price=struck
        )
    middle, low, high = (float(v[0]) for v in _interval(others, pool.sold.take(here), SPREAD))
    # The interval is of prices. What sellers hope for or misjudge is no doubt about the vehicle's worth.
    part = _worth_part(model, pool.sold.take(here), priors)
    low, high = middle - part * (middle - low), middle + part * (high - middle)
    sd = (high - low) / (2 * norm.ppf((1 + SPREAD) / 2))
    flags += _far_off(n, others, learned, priors)
    return Valuation(
        ref=vehicle.ref,
        mean=math.exp(middle + sd**2 / 2),
        p10=math.exp(low),
        p50=math.exp(middle),
        p90=math.exp(high),
        log_mean=middle,
        log_sd=sd,
        basis="pool" if count >= START else "prior" if count else "guide",
        comparables=count,
        reasons=(
            *explain(n, vehicle, pool, model, (low, high), priors, buyer),
            *explain_flags(vehicle, flags, buyer.currency),
        ),
        flags=tuple(flags),
        expected_price=_expected_price(vehicle, flags, math.exp(middle), priors),
    )


def _interval(others: Jackknife, rows: Rows, coverage: float) -> tuple[Floats, Floats, Floats]:
    """Middle, lower and upper end of log price: jackknife+ from nine comparables on, below that the model's own."""
    mean, spread = others.fit.predict_mean(rows), others.fit.spread_at_level(rows)
    if len(others.fit.y) >= ENOUGH:
        low, high = others.interval(rows, coverage)
        # The middle stays inside, whatever a few odd residuals say.
        return mean, np.minimum(low, mean - LEAST_REACH * spread), np.maximum(high, mean + LEAST_REACH * spread)
    # Student's t, for the noise is itself known from few: as many degrees as responses and as its prior is worth.
    degrees = len(others.fit.y) + 1 / (2 * others.fit.priors.noise[1] ** 2)
    reach = student.ppf((1 + coverage) / 2, degrees) * spread
    return mean, mean - reach, mean + reach


def _worth_part(model: Fit, rows: Rows, priors: ValuePriors) -> float:
    """Standard deviation of the worth as a share of that of the price."""
    price = float(model.spread_at_level(rows)[0]) ** 2
    return math.sqrt(1 - (1 - priors.number("noise.vehicle_share")) * model.noise_sd**2 / price)


def _far_off(n: int, others: Jackknife, learned: Learned, priors: ValuePriors) -> list[str]:
    """`price_far_below` or `price_far_above`, when the advert's price lies outside the interval and far off."""
    y = learned.pool.y[n]
    if learned.slipped[n] or math.isnan(y):
        return []
    middle, low, high = (float(v[0]) for v in _interval(others, learned.pool.rows.take(np.array([n])), FLAGGED))
    if y < low and y < middle + math.log(priors.number("flags.below_share")):
        return ["price_far_below"]
    if y > high and y > middle + math.log(priors.number("flags.above_share")):
        return ["price_far_above"]
    return []


def _expected_price(vehicle: Comparable, flags: Sequence[str], sound: float, priors: ValuePriors) -> float | None:
    """What a deal is expected to be struck at; None when the price asked cannot be meant or cannot be guessed."""
    price = usable_price(vehicle)
    if "price_typo" in flags:
        return None
    if price is not None:
        return price * (1 - discount(vehicle, priors))
    fallen = sound - added_back(vehicle, priors)
    return fallen if vehicle.price_terms in ("offers", "auction") and fallen > 0 else None
