"""The pool as numbers: what each advert says of the price of a sound one, and the columns that explain it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from pipeline.schemas.value_priors import FUELS, HISTORIES, Curve, ValuePriors
from pipeline.types import Comparable
from pipeline.valuation.curves import curve_columns
from pipeline.valuation.hedonic import Rows

Floats = NDArray[np.float64]
PRICES = (1.0, 1e9)  # in any currency; nearer bounds come from the pool
LITRES = (0.1, 30.0)
FIRST_YEAR = 1885  # of the motor car
TEST_MONTHS = (6, 12)  # a middling test, and the longest that a buyer pays for
OWNERS = (3, 8)  # owners beyond the first number count, up to the second
# These explain a price but are no part of the sound value: who sells it, and what each buyer weighs by his purpose.
SET_ASIDE = ("seller.trade", "seller.auction", "modified", "written_off")


@dataclass(frozen=True, slots=True)
class Pool:
    """Rows of all vehicles, in their order. The first column is the level; `parts` names the others' columns."""

    rows: Rows  # as advertised
    sold: Rows  # as a private sale of an unaltered one, which is what a value means
    y: Floats  # log price of a sound one that the advert implies; nan without a price
    mean: Floats  # prior mean of the coefficients, the level's left at zero
    sd: Floats
    parts: tuple[tuple[str, slice], ...]
    middle_age: float | None
    middle_miles: float | None
    ages: Floats  # years, nan when not stated
    miles: Floats  # nan when not stated or not believed


def build_pool(
    vehicles: Sequence[Comparable], miles: Floats, priors: ValuePriors, as_of: date, middle_miles: float | None = None
) -> Pool:
    """`miles`: stated mileage, nan where it is missing or not believed. `middle_miles`: not the pool's own middle."""
    ages = ages_of(vehicles, as_of)
    middle_age, middle_miles = _middle(ages), _middle(miles) if middle_miles is None else middle_miles
    filled_ages = np.where(np.isnan(ages), middle_age or 0.0, ages)
    filled_miles = np.where(np.isnan(miles), _usual_miles(filled_ages, middle_age, middle_miles, priors), miles)
    age_doubt = max(priors.number("year.sd"), float(np.nanstd(ages)) if middle_age is not None else 0.0)
    extra = np.where(np.isnan(ages), _steepness(priors.curves["age"], filled_ages) * age_doubt, 0.0) ** 2
    miles_doubt = filled_miles * priors.number("mileage.log_sd")
    extra += np.where(np.isnan(miles), _steepness(priors.curves["mileage"], filled_miles) * miles_doubt, 0.0) ** 2

    blocks: list[tuple[str, Floats, Floats, Floats]] = [
        ("level", np.ones((len(vehicles), 1)), np.zeros(1), np.zeros(1))
    ]
    for name, values, middle in (("age", filled_ages, middle_age), ("mileage", filled_miles, middle_miles)):
        reference = float(np.median(values)) if middle is None else middle
        blocks.append((name, *curve_columns(values, priors.curves[name], reference)))
    for name, column in _effects(vehicles, priors).items():
        if np.ptp(column) > 0 or column[0] != 0:
            effect = priors.effects.get(name) or priors.trait(name.removeprefix("trait."))
            blocks.append((name, column[:, None], np.array([effect.mean]), np.array([effect.sd])))
    linear = np.column_stack([block[1] for block in blocks])
    ends = np.cumsum([block[1].shape[1] for block in blocks]).tolist()
    parts = tuple((block[0], slice(a, b)) for block, a, b in zip(blocks, [0, *ends[:-1]], ends, strict=True))
    sold = linear.copy()
    for name, where in parts:
        if name in SET_ASIDE:
            sold[:, where] = 0.0
    shape = np.column_stack(
        [
            filled_ages / priors.number("shape.years"),
            filled_miles / priors.number("shape.miles"),
            _litres(vehicles) / priors.number("shape.log_litres"),
        ]
    )
    y, doubt = _responses(vehicles, priors)
    return Pool(
        rows=Rows(linear, shape, extra + doubt),
        sold=Rows(sold, shape, extra),
        y=y,
        mean=np.concatenate([block[2] for block in blocks]),
        sd=np.concatenate([block[3] for block in blocks]),
        parts=parts,
        middle_age=middle_age,
        middle_miles=middle_miles,
        ages=ages,
        miles=miles,
    )


def ages_of(vehicles: Sequence[Comparable], as_of: date) -> Floats:
    """Ages in years, a year of make taken at its middle; nan when not stated or impossible."""
    now = as_of.year + (as_of.timetuple().tm_yday - 1) / 365.25
    return np.array(
        [max(now - v.year - 0.5, 0.0) if v.year and FIRST_YEAR <= v.year <= now + 1 else math.nan for v in vehicles]
    )


def discount(vehicle: Comparable, priors: ValuePriors) -> float:
    """Share of the asking price that is expected to come off."""
    if vehicle.seller_kind != "auction" and vehicle.price_terms in ("negotiable", "fixed"):
        return priors.number(f"discount.{vehicle.seller_kind}.{vehicle.price_terms}")
    return priors.number(f"discount.{vehicle.seller_kind}")


def usable_price(vehicle: Comparable) -> float | None:
    """The asking price when it is a number that any vehicle could have."""
    price = vehicle.asking_price
    return price if price is not None and PRICES[0] <= price <= PRICES[1] else None


def added_back(vehicle: Comparable, priors: ValuePriors) -> float:
    """What the admitted faults are taken to have lowered the price by."""
    return max(priors.number("repair.share") * vehicle.disclosed_repair, 0.0)


def _responses(vehicles: Sequence[Comparable], priors: ValuePriors) -> tuple[Floats, Floats]:
    """Log price of a sound one that each advert implies, and how much less an advert says (variance)."""
    y, doubt = np.full(len(vehicles), np.nan), np.zeros(len(vehicles))
    for n, vehicle in enumerate(vehicles):
        price = usable_price(vehicle)
        if price is None:
            continue
        struck, added = price * (1 - discount(vehicle, priors)), added_back(vehicle, priors)
        y[n] = math.log((struck + added) * (1 + priors.number("repair.unsaid")))
        doubt[n] = (priors.number("repair.doubt_sd") * added / (struck + added)) ** 2
        if vehicle.seller_kind == "auction" or vehicle.price_terms == "auction":
            doubt[n] += priors.number("auction.doubt_sd") ** 2
    return y, doubt


def _effects(vehicles: Sequence[Comparable], priors: ValuePriors) -> dict[str, Floats]:
    """Columns by effect. Specification is centred on the pool, whose guide price is of its usual specification."""

    def each(of: Callable[[Comparable], float]) -> Floats:
        return np.array([float(of(vehicle)) for vehicle in vehicles])

    columns: dict[str, Floats] = {}
    fuels = [v.fuel for v in vehicles if v.fuel]
    for fuel in FUELS:
        share = fuels.count(fuel) / len(fuels) if fuels else 0.0
        columns[f"fuel.{fuel}"] = np.array([float(v.fuel == fuel) if v.fuel else share for v in vehicles]) - share
    columns["engine.log_litres"] = _litres(vehicles)
    automatic = each(lambda v: v.gearbox == "auto")  # an automatic is nearly always said to be one
    columns["gearbox.auto"] = automatic - automatic.mean()
    for history in HISTORIES:
        columns[f"history.{history}"] = each(lambda v, h=history: (v.service_history or "unstated") == h)  # type: ignore[misc]
    columns["test.month"] = each(
        lambda v: min(v.test_months_left, TEST_MONTHS[1]) - TEST_MONTHS[0] if v.test_months_left else 0.0
    )
    columns["test.none"] = each(lambda v: v.test_months_left is not None and v.test_months_left <= 0)
    columns["modified"] = each(lambda v: v.modified)
    columns["written_off"] = each(lambda v: v.written_off)
    columns["owners.more"] = each(lambda v: min(max((v.owners or 0) - OWNERS[0], 0), OWNERS[1] - OWNERS[0]))
    for kind in ("trade", "auction"):
        columns[f"seller.{kind}"] = each(lambda v, k=kind: v.seller_kind == k)  # type: ignore[misc]
    for trait in sorted({trait for v in vehicles for trait in v.traits}):
        has = each(lambda v, t=trait: t in v.traits)  # type: ignore[misc]
        columns[f"trait.{trait}"] = has - has.mean()
    return columns


def _litres(vehicles: Sequence[Comparable]) -> Floats:
    """Log engine size against the pool's middle; zero when not stated or impossible."""
    sizes = (v.engine_litres or 0.0 for v in vehicles)
    logs = np.array([math.log(size) if LITRES[0] <= size <= LITRES[1] else math.nan for size in sizes])
    middle = _middle(logs)
    return np.zeros(len(vehicles)) if middle is None else np.where(np.isnan(logs), 0.0, logs - middle)


def _middle(values: Floats) -> float | None:
    return None if np.isnan(values).all() else float(np.nanmedian(values))


def _usual_miles(ages: Floats, middle_age: float | None, middle_miles: float | None, priors: ValuePriors) -> Floats:
    """Mileage of one whose advert does not tell: the pool's middle, more for older ones but less than in step."""
    if middle_miles is None:
        return priors.number("mileage.per_year") * np.clip(ages, 0.5, 15.0)
    if middle_age is None:
        return np.full(len(ages), middle_miles)
    return np.asarray(middle_miles * np.sqrt(np.clip(ages, 0.5, None) / max(middle_age, 0.5)))


def _steepness(curve: Curve, x: Floats) -> Floats:
    """Size of the slope of a curve at x, for each plain unit, its prior doubt included."""
    at = [knot.at for knot in curve.knots]
    mean = np.interp(x, at, [knot.mean for knot in curve.knots])
    return np.asarray(np.hypot(mean, curve.common_sd) / curve.per)
