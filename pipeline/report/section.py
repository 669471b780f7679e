"""One vehicle's section of the page: verdict, flags, cost, price, value, questions and its adverts with their marks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pipeline.report import words
from pipeline.report.adverts import AdvertPart, Price, advert_part, price, price_path
from pipeline.report.costs import Cost, cost
from pipeline.report.learnt import heading, lines
from pipeline.types import Buyer, Flag, Reason, VehicleView


@dataclass(frozen=True, slots=True)
class Asked:
    text: str
    worth: str
    rule: str


@dataclass(frozen=True, slots=True)
class Pay:
    """The three prices, why those, and what a finding at the viewing would make of them."""

    prices: tuple[tuple[str, str], ...]
    reasons: tuple[Reason, ...]
    after: tuple[tuple[str, str, str], ...]  # what is found, settle at, walk away above


@dataclass(frozen=True, slots=True)
class Section:
    number: int
    anchor: str
    ref: str
    title: str
    verdict: str
    gone: bool
    summary: tuple[tuple[str, str, str], ...]
    unvalued: str
    reasons: tuple[Reason, ...]
    changes: tuple[str, ...]
    flags: tuple[Flag, ...]
    learnt: tuple[tuple[str, tuple[str, ...]], ...]  # each note that counts: heading and lines
    pay: Pay
    cost: Cost
    prices: tuple[Price, ...]
    price_path: str
    value: str
    value_reasons: tuple[Reason, ...]
    questions: tuple[Asked, ...]
    adverts: tuple[AdvertPart, ...]
    silent: str


def section(number: int, vehicle: VehicleView, buyer: Buyer, names: Mapping[str, str]) -> Section:
    """Everything that the page says of one vehicle."""
    currency = buyer.currency
    ranked = vehicle.ranked
    return Section(
        number=number,
        anchor=f"v{number}",
        ref=vehicle.ref,
        title=vehicle.title,
        verdict=ranked.verdict,
        gone=vehicle.gone,
        summary=_summary(vehicle, currency, buyer.units),
        unvalued=why_not_valued(vehicle) if ranked.surplus is None or ranked.visit_worth is None else "",
        reasons=ranked.reasons,
        changes=ranked.changes,
        flags=ranked.flags,
        learnt=_learnt(vehicle, currency, names),
        pay=pay(vehicle, currency),
        cost=cost(vehicle, currency),
        prices=tuple(price(point) for point in vehicle.prices),
        price_path=price_path(vehicle.prices),
        value=_value(vehicle, currency),
        value_reasons=vehicle.prospect.valuation.reasons,
        questions=tuple(_asked(q.text, q.worth, q.rule, currency) for q in ranked.questions),
        adverts=tuple(advert_part(advert, names) for advert in vehicle.texts),
        silent=", ".join(words.subject(code, names) for code in vehicle.silent_on),
    )


def asked_price(vehicle: VehicleView) -> str:
    """The asking price, or that there is none that could be used."""
    price = vehicle.prospect.asking_price
    return words.money(price, vehicle.prospect.currency) if price is not None else "no usable price"


def why_not_valued(vehicle: VehicleView) -> str:
    """Why a vehicle has no surplus or visit worth, in the words of the stage that could not give one."""
    said = [vehicle.prospect.refused_price or ""]
    said += [reason.text for reason in (*vehicle.prospect.valuation.reasons, *vehicle.ranked.reasons)]
    return next((text for text in said if text), "the run gave no reason")


def _learnt(vehicle: VehicleView, currency: str, names: Mapping[str, str]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What the buyer recorded, newest last."""
    items = {item.item: item.name for item in vehicle.prospect.repair.items}
    return tuple((heading(n), tuple(lines(n, names, items, currency))) for n in vehicle.notes if not n.undone)


def pay(vehicle: VehicleView, currency: str) -> Pay:
    """What to offer, to settle at and to walk away from, with the sentences that justify it."""
    ranked = vehicle.ranked
    known = (
        ("offer", ranked.opening_offer),
        ("settle at about", ranked.settling_price),
        ("walk away above", ranked.walk_away),
    )
    return Pay(
        prices=tuple((name, words.estimate(price, currency)) for name, price in known if price is not None),
        reasons=ranked.price_reasons,
        after=tuple(
            (found.what, words.estimate(found.settling, currency), words.estimate(found.walk_away, currency))
            for found in ranked.price_after
        ),
    )


def _summary(vehicle: VehicleView, currency: str, units: Literal["mi", "km"]) -> tuple[tuple[str, str, str], ...]:
    """Name, figure and small print of each number that the verdict rests on."""
    ranked, prospect = vehicle.ranked, vehicle.prospect
    shown = [("asking", asked_price(vehicle), prospect.refused_price or "")]
    if ranked.sound_value:
        value = ranked.sound_value
        shown.append(("sound value", words.estimate(value.mean, currency), words.between(value, currency)))
    repair = ranked.repair_cost
    shown.append(("first-year repair", words.estimate(repair.mean, currency), words.between(repair, currency)))
    if ranked.surplus:
        paid = f", paying {words.estimate(ranked.price_to_pay, currency)}" if ranked.price_to_pay is not None else ""
        surplus = ranked.surplus
        shown.append(("surplus", words.estimate(surplus.mean, currency), words.between(surplus, currency) + paid))
    if ranked.visit_worth is not None:
        cost = f"the visit costs {words.estimate(ranked.visit_cost, currency)}" if ranked.visit_cost is not None else ""
        shown.append(("visit worth", words.estimate(ranked.visit_worth, currency), cost))
    if ranked.walk_away is not None:
        shown.append(("walk away above", words.estimate(ranked.walk_away, currency), ""))
    if prospect.distance_miles is not None:
        shown.append(("distance", words.distance(prospect.distance_miles, units), prospect.place or ""))
    elif prospect.place:
        shown.append(("place", prospect.place, "distance not known"))
    return tuple(shown)


def _value(vehicle: VehicleView, currency: str) -> str:
    valuation = vehicle.prospect.valuation
    if valuation.mean is None or valuation.p10 is None or valuation.p90 is None:
        return ""
    basis = {
        "pool": f"from {valuation.comparables} adverts of this search",
        "prior": "from the pack's figures alone: too few adverts here to learn from",
        "guide": "from your own guide price",
        "none": "",
    }[valuation.basis]
    interval = f"{words.estimate(valuation.p10, currency)} to {words.estimate(valuation.p90, currency)}"
    return f"{words.estimate(valuation.mean, currency)} ({interval}), {basis}".rstrip(", ")


def _asked(text: str, worth: float, rule: str, currency: str) -> Asked:
    if math.isinf(worth):
        return Asked(text, "decides it", rule)
    return Asked(text, f"worth about {words.estimate(worth, currency)}" if worth >= 5 else "", rule)
