"""Sentences that say what moved a value, with amounts."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pipeline.schemas.value_priors import ValuePriors
from pipeline.types import Buyer, Comparable, Reason
from pipeline.valuation.hedonic import Fit
from pipeline.valuation.intervals import least_comparables
from pipeline.valuation.pool import SET_ASIDE, Pool, added_back, usable_price

LEAST_SHARE = 0.01  # a smaller effect is not worth a sentence
STEP = 10  # amounts are rounded to this
ENOUGH = least_comparables(0.9)


def money(amount: float, currency: str) -> str:
    """An amount to the nearest ten, with its currency."""
    return f"{currency} {round(amount / STEP) * STEP:,.0f}"


def explain(
    n: int, vehicle: Comparable, pool: Pool, model: Fit, ends: tuple[float, float], priors: ValuePriors, buyer: Buyer
) -> tuple[Reason, ...]:
    """Where the value of vehicle n starts, what moves it, how sure it is. `ends`: log of p10 and p90."""
    row, coefficients, currency = pool.sold.linear[n], model.coefficients, buyer.currency
    level = float(coefficients[0])
    moved: list[tuple[float, str, str]] = []
    for name, where in pool.parts[1:]:
        effect = float(row[where] @ coefficients[where])
        moved.append((effect, name, _subject(n, name, pool, priors)))
    total = float(model.predict(pool.sold.take(np.array([n])))[0][0])
    moved.append((total - level - sum(m[0] for m in moved), "shape", "Its like among the adverts differ from the rest"))
    reasons = [Reason(_start(level, pool, len(model.y), buyer), "value.level")]
    for effect, name, subject in sorted(moved, key=lambda m: -abs(m[0])):
        if abs(effect) >= LEAST_SHARE and name not in SET_ASIDE:
            amount = money(abs(math.exp(level + effect) - math.exp(level)), currency)
            reasons.append(Reason(f"{subject}: {amount} {'more' if effect > 0 else 'less'}.", f"value.{name}"))
    reasons += _not_stated(n, vehicle, pool)
    added, price = added_back(vehicle, priors), usable_price(vehicle)
    if price is not None and added > 0.02 * price:
        text = (
            f"Admitted repair is not taken from the sound value: {money(added, currency)} of the price asked is put "
            "down to it."
        )
        reasons.append(Reason(text, "value.repair.share"))
    if vehicle.seller_kind != "private":
        reasons.append(
            Reason(f"Offered by {_sellers(vehicle)}, valued as a private sale.", f"value.seller.{vehicle.seller_kind}")
        )
    for name, on in (("modified", vehicle.modified), ("written_off", vehicle.written_off)):
        if on:
            text = f"{priors.effects[name].name}: not in the sound value, since what it takes off depends on the buyer."
            reasons.append(Reason(text, f"value.{name}"))
    low, high = (money(math.exp(end), currency) for end in ends)
    reasons.append(Reason(_sureness(low, high, len(model.y)), "value.interval"))
    return tuple(reasons)


def explain_flags(vehicle: Comparable, flags: Sequence[str], currency: str) -> tuple[Reason, ...]:
    """A sentence for each flag."""
    price = money(usable_price(vehicle) or 0.0, currency)
    texts = {
        "price_typo": f"{price} looks like a slip, a digit too many or too few: ask what is meant. Not learned from.",
        "mileage_typo": f"{vehicle.mileage_miles or 0:,.0f} miles looks like a slip or a clock gone round: ask, see "
        "the test record. Valued as if no mileage were given.",
        "year_typo": f"The year {vehicle.year or 0:.0f} lies far from every other's here: ask, and see the papers. "
        "Valued as if no year were given.",
        "price_far_below": f"{price} is far below what the others make likely, and nothing told explains it: find out "
        "why before travelling.",
        "price_far_above": f"{price} is far above what the others make likely.",
    }
    return tuple(Reason(texts[flag], f"value.{flag}") for flag in flags)


def _start(level: float, pool: Pool, count: int, buyer: Buyer) -> str:
    middle = []
    if pool.middle_age is not None:
        middle.append(f"age ({pool.middle_age:.0f} years)")
    if pool.middle_miles is not None:
        middle.append(f"mileage ({round(pool.middle_miles, -3):,.0f})")
    what = f"A sound one of middling {' and '.join(middle)}" if middle else "A sound one"
    froms = []
    if count:
        froms.append(f"{count} other {'advert' if count == 1 else 'adverts'}")
    if buyer.guide_price is not None:
        froms.append(f"your guide price of {money(buyer.guide_price, buyer.currency)}")
    return f"{what} is put at {money(math.exp(level), buyer.currency)}, from {' and '.join(froms)}."


def _subject(n: int, name: str, pool: Pool, priors: ValuePriors) -> str:
    if name == "age":
        if pool.middle_age is None or math.isnan(pool.ages[n]):
            return "Age, not stated and taken as middling"
        years = pool.ages[n] - pool.middle_age
        return f"{_count(abs(years), 'year')} {'older' if years > 0 else 'younger'} than the middling one"
    if name == "mileage":
        if pool.middle_miles is None or math.isnan(pool.miles[n]):
            return "Miles, guessed from its age"
        miles = pool.miles[n] - pool.middle_miles
        return f"{round(abs(miles), -2):,.0f} miles {'more' if miles > 0 else 'fewer'} than the middling one"
    own = priors.effects.get(name)
    subject = own.name if own else name.removeprefix("trait.").replace("_", " ").capitalize()
    # A column centred on the pool is negative for a vehicle without the property.
    value = pool.sold.linear[n, dict(pool.parts)[name]][0]
    if value < 0 and name.startswith(("fuel.", "gearbox.", "trait.")):
        return f"{subject}: not so here, while others of the pool are"
    return subject


def _count(number: float, unit: str) -> str:
    shown = f"{number:.0f}" if number >= 1 else "less than 1"
    return f"{shown} {unit}" if shown in ("1", "less than 1") else f"{shown} {unit}s"


def _not_stated(n: int, vehicle: Comparable, pool: Pool) -> list[Reason]:
    missing = [name for name, known in (("year", pool.ages[n]), ("mileage", pool.miles[n])) if math.isnan(known)]
    stated = {"year": vehicle.year, "mileage": vehicle.mileage_miles}  # where not believed, a flag says it
    missing = [name for name in missing if stated[name] is None]
    return [Reason(f"The {name} is not stated: the interval is wider for it.", f"value.{name}") for name in missing]


def _sellers(vehicle: Comparable) -> str:
    return "the trade" if vehicle.seller_kind == "trade" else "auction"


def _sureness(low: str, high: str, count: int) -> str:
    if count >= ENOUGH:
        return f"Eight in ten like it lie between {low} and {high}, as the other {count} adverts show (jackknife+)."
    others = f"{count} other adverts" if count != 1 else "1 other advert"
    have = f"only {others} to compare with" if count else "no other advert to compare with"
    return (
        f"Eight in ten like it are thought to lie between {low} and {high}: {have}, fewer than the {ENOUGH} that an "
        "interval of their own needs, so that it rests on the rules' prior."
    )
