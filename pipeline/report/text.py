"""One vehicle in full for a terminal: what was read, costs, value, why it stands where it stands."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from pipeline.report import words
from pipeline.report.section import asked_price, why_not_valued
from pipeline.report.table import plain
from pipeline.types import Reason, VehicleView

ITEMS_SHOWN = 12


def vehicle_text(view: VehicleView, width: int) -> str:
    """All of one vehicle in lines of at most `width` characters (at least 40), without colour."""
    width = max(width, 40)
    lines: list[str] = []
    for line in _lines(view):
        indent = " " * (len(line) - len(line.lstrip(" ")) + 2)
        lines += textwrap.wrap(line, width, subsequent_indent=indent, break_on_hyphens=False) or [""]
    return "\n".join(lines) + "\n"


def _lines(view: VehicleView) -> Iterator[str]:
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
        yield f"surplus           {words.estimate(row.surplus.mean, c)} ({words.between(row.surplus, c)})"
        yield f"visit worth       {words.estimate(row.visit_worth, c)}"
    repair = prospect.repair
    yield (
        f"repair cost       {words.estimate(row.repair_cost.mean, c)} ({words.between(row.repair_cost, c)}), admitted "
        f"{words.estimate(repair.admitted_mean, c)}, unsaid {words.estimate(repair.unsaid_mean, c)}"
    )
    if row.walk_away is not None:
        yield f"walk away above   {words.estimate(row.walk_away, c)}"
    if row.visit_cost is not None and prospect.distance_miles is not None:
        where = plain(prospect.place or "place not named")
        yield f"visit costs       {words.estimate(row.visit_cost, c)} ({where}, {words.miles(prospect.distance_miles)})"
    yield from _listed("why", (_reason(reason) for reason in row.reasons))
    yield from _listed("what would change it", row.changes)
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
    for root, states in repair.roots.items():
        yield f"  {words.spoken(root)}: " + ", ".join(f"{state} {words.percent(p)}" for state, p in states.items())
    yield from _listed("value", (_reason(reason) for reason in prospect.valuation.reasons))
    yield from _listed("ask", (question.text for question in row.questions))
    yield from _listed("the advert contradicts itself", repair.contradictions)
    yield from _listed("assumed", (_reason(reason) for reason in repair.assumptions))
    if view.silent_on:
        yield from _listed("the advert is silent on", [", ".join(view.silent_on)])
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


def _listed(heading: str, lines: Iterable[str]) -> Iterator[str]:
    found = list(lines)
    if found:
        yield ""
        yield heading
        yield from (f"  - {plain(line)}" for line in found)


def _reason(reason: Reason) -> str:
    return f"{reason.text} (“{plain(reason.quote)}”)" if reason.quote else reason.text
