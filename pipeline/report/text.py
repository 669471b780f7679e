"""One vehicle in full for a terminal: what was read, costs, value, why it stands where it stands."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Literal

from pipeline.report import words
from pipeline.report.learnt import heading, lines
from pipeline.report.section import asked_price, why_not_valued
from pipeline.report.table import plain
from pipeline.types import PassedOver, Question, Reason, Sensitive, VehicleView
from pipeline.wrap import wrapped

ITEMS_SHOWN = 12


def vehicle_text(view: VehicleView, width: int, units: Literal["mi", "km"] = "mi") -> str:
    """All of one vehicle in lines of at most `width` characters (at least 40), without colour."""
    return wrapped(vehicle_lines(view, units), width)


def vehicle_lines(view: VehicleView, units: Literal["mi", "km"] = "mi") -> list[str]:
    """All of one vehicle, a statement a line, as long as it is."""
    return list(_lines(view, units))


def passed_over_lines(one: PassedOver, currency: str) -> list[str]:
    """What is known of a vehicle that a quick look left out, a statement a line."""
    lines = [f"{one.ref}  {plain(one.title)}", f"leave: passed over, {plain(one.why)}", ""]
    if one.asking_price is not None:
        lines.append(f"asking price      {words.money(one.asking_price, currency)}")
    if one.worth is not None:
        lines.append(f"as it stands      about {words.estimate(one.worth, currency)} to you, at a quick look")
    return [*lines, "Note something of it (viewworthy note) and it is worked out in full from then on."]


def _lines(view: VehicleView, units: Literal["mi", "km"]) -> Iterator[str]:
    row, prospect, c = view.ranked, view.prospect, view.prospect.currency
    yield f"{view.ref}  {plain(view.title)}"
    yield f"{row.verdict}"
    yield ""
    price = asked_price(view) if prospect.asking_price is not None else "not usable"
    yield f"asking price      {price}"
    if row.surplus is None or row.sound_value is None or row.visit_worth is None:
        yield f"not valued        {plain(why_not_valued(view))}"
    else:
        yield f"sound value       {words.estimate(row.sound_value.mean, c)} ({words.between(row.sound_value, c)})"
        yield f"surplus           {words.estimate(row.surplus.mean, c)} ({words.between(row.surplus, c)})" + (
            f", with {words.estimate(row.price_to_pay, c)} paid" if row.price_to_pay is not None else ""
        )
        yield f"visit worth       {words.estimate(row.visit_worth, c)}"
    repair = prospect.repair
    yield (
        f"repair cost       {words.estimate(row.repair_cost.mean, c)} ({words.between(row.repair_cost, c)}), admitted "
        f"{words.estimate(repair.admitted_mean, c)}, unsaid {words.estimate(repair.unsaid_mean, c)}"
    )
    if row.walk_away is not None:
        yield f"walk away above   {words.estimate(row.walk_away, c)}"
    if row.opening_offer is not None and row.settling_price is not None:
        settle = words.money(row.settling_price, c)
        yield f"to pay            open at {words.money(row.opening_offer, c)}, settle at {settle}"
    if row.visit_cost is not None and prospect.distance_miles is not None:
        where = plain(prospect.place or "place not named")
        far = words.distance(prospect.distance_miles, units)
        yield f"visit costs       {words.estimate(row.visit_cost, c)} ({where}, {far})"
    yield from _listed("why", (_reason(reason) for reason in row.reasons))
    yield from _listed("what would change it", row.changes)
    yield from _listed("the price to pay", (_reason(reason) for reason in row.price_reasons))
    yield from _listed(
        "what a finding makes of the price",
        (
            f"{after.what}: settle at {words.money(after.settling, c)}, walk away above "
            f"{words.money(after.walk_away, c)}"
            for after in row.price_after
        ),
    )
    yield from _listed("verify before travelling", (f"{f.text}: {f.verify}" for f in row.flags))
    items = sorted(repair.items, key=lambda item: -item.expected_cost)[:ITEMS_SHOWN]
    yield from _listed(
        "where the cost comes from",
        (
            f"{item.name}: {words.estimate(item.expected_cost, c)} expected, minor {words.percent(item.minor)}, major "
            f"{words.percent(item.major)}, {'admitted' if item.admitted else 'not said'}"
            + "".join(f"; {_reason(reason)}" for reason in item.reasons[:2])
            for item in items
        ),
    )
    places = view.places or [None] * len(repair.sensitive)
    yield from _listed(
        "numbers in the rules that the cost hangs on",
        (_hangs_on(number, at, c) for number, at in zip(repair.sensitive, places, strict=True)),
    )
    for root, states in repair.roots.items():
        yield f"  {words.spoken(root)}: " + ", ".join(f"{state} {words.percent(p)}" for state, p in states.items())
    yield from _listed("value", (_reason(reason) for reason in prospect.valuation.reasons))
    yield from _listed("ask", (_question(question, c) for question in row.questions))
    yield from _listed("the advert contradicts itself", repair.contradictions)
    yield from _listed("if you do the work yourself", (_reason(reason) for reason in repair.cautions))
    yield from _listed("assumed", (_reason(reason) for reason in repair.assumptions))
    if view.silent_on:
        yield from _listed("the advert is silent on", [", ".join(view.silent_on)])
    called = {item.item: item.name for item in repair.items}
    noted = (f"{heading(note)}: {'; '.join(lines(note, {}, called, c))}" for note in view.notes)
    yield from _listed("recorded", noted)
    for text in view.texts:
        yield ""
        yield f"read in {plain(text.source)}, saved {words.day(text.saved_on)}" + (
            f" ({plain(text.linked_because)})" if text.linked_because else ""
        )
        for fact in text.reading.facts:
            quote = f"  “{plain(fact.quote)}”" if fact.quote else ""
            yield f"  {words.fact_note(fact)}{quote}"
        for claim in text.reading.claims:
            yield f"  {words.claim_note(claim, {})}  “{plain(claim.quote)}”"


def _hangs_on(number: Sensitive, places: tuple[int, int] | None, currency: str) -> str:
    low, high = words.estimate(number.low, currency), words.estimate(number.high, currency)
    stands = f", place {places[0]} or {places[1]}" if places else ""
    return (
        f"{number.what}: {number.factor:g} times less or more makes the repair cost {low} or {high}{stands} "
        f"({number.rule}; {number.source})"
    )


def _listed(heading: str, lines: Iterable[str]) -> Iterator[str]:
    found = list(lines)
    if found:
        yield ""
        yield heading
        yield from (f"  - {plain(line)}" for line in found)


def _question(question: Question, currency: str) -> str:
    worth = question.worth if math.isfinite(question.worth) else 0.0
    return question.text + (f" (worth about {words.money(float(round(worth)), currency)})" if worth >= 1 else "")


def _reason(reason: Reason) -> str:
    """The sentence, the advert's words that moved it, and the rule that made it."""
    said = f"{reason.text} (“{plain(reason.quote)}”)" if reason.quote else reason.text
    return f"{said} [{reason.rule}]" if reason.rule else said
