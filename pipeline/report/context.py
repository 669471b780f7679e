"""What the page's templates are given: frozen values, worded and rounded, nothing left for a template to work out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.report import words
from pipeline.report.doubts import doubtful
from pipeline.report.learnt import FATES
from pipeline.report.passed import passed_name
from pipeline.report.plot import Axis, Dot, Plot, Strip, axis, plot, strip
from pipeline.report.section import Section, asked_price, pay, section
from pipeline.types import Buyer, Ranked, Reason, ReportView, Spread, VehicleView

PER_PAGE = 500  # vehicles on one page: beyond that it opens slowly and nobody reads on
LOOKS = 3  # doubtful places named on the first screen
PICKS = 3  # a day allows about three viewings, an evening about three calls
NOT_VALUED = "not valued"


@dataclass(frozen=True, slots=True)
class Figure:
    """A cell: the figure, its interval, small print, and the number to sort by (None sorts last)."""

    text: str
    key: float | None
    interval: str = ""
    under: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the ranking."""

    number: int
    anchor: str
    title: str
    place: str
    verdict: str
    verdict_key: int
    gone: bool
    flags: int
    visit: Figure
    surplus: Figure
    strip: Strip | None
    sound: Figure
    repair: Figure
    price: Figure
    distance: Figure


@dataclass(frozen=True, slots=True)
class Pick:
    """A vehicle on the first screen: what it is and why it stands there."""

    anchor: str
    title: str
    facts: str
    why: str
    pay: str
    ask: str
    look: str


@dataclass(frozen=True, slots=True)
class PageContext:
    title: str
    day: str
    terms: tuple[str, ...]
    visits: tuple[Pick, ...]
    calls: tuple[Pick, ...]
    answer: str
    more_visits: int
    more_calls: int
    changes: tuple[str, ...]
    plot: Plot | None
    undrawn: int
    part: int
    others: tuple[tuple[str, str], ...]  # file, its vehicles: the other pages of a large search
    passed: tuple[str, str]  # file and number of those that a quick look left out, empty where there are none
    rows: tuple[Row, ...]
    sections: tuple[Section, ...]
    refusals: tuple[tuple[str, str], ...]
    apart: tuple[tuple[str, str, str], ...]  # title, number, what became of it by the buyer's record
    assumptions: tuple[Reason, ...]
    cautions: tuple[str, ...]
    counts: tuple[tuple[str, int], ...]


def context(view: ReportView, part: int = 0, name: str = "ranking") -> PageContext:
    """Everything on one page, in its order. `part`: which PER_PAGE vehicles it shows, from 0; `name` of its file."""
    money = view.buyer.currency
    scale = _surplus_scale(view.vehicles)
    everyone = list(enumerate(view.vehicles, 1))
    numbered = everyone[part * PER_PAGE : (part + 1) * PER_PAGE]
    there = [(n, v) for n, v in everyone[:PER_PAGE] if not v.gone]
    visits = [(n, v) for n, v in there if v.ranked.verdict == "travel"]
    calls = [(n, v) for n, v in there if v.ranked.verdict == "ring first"]
    dots = [dot for n, v in numbered if (dot := _dot(n, v, money))]
    return PageContext(
        title=view.buyer.search_name or "Vehicles worth a visit",
        day=words.day(view.as_of),
        terms=_terms(view),
        visits=tuple(_pick(n, v, view.buyer) for n, v in visits[:PICKS]),
        calls=tuple(_pick(n, v, view.buyer) for n, v in calls[:PICKS]),
        answer=_answer(view),
        more_visits=max(len(visits) - PICKS, 0),
        more_calls=max(len(calls) - PICKS, 0),
        changes=view.changes,
        plot=plot(dots, money),
        undrawn=len(numbered) - len(dots),
        part=part,
        others=_others(len(view.vehicles), part, name),
        passed=(passed_name(name, 0), f"{len(view.passed_over):,}") if view.passed_over else ("", ""),
        rows=tuple(_row(n, v, view.buyer, scale) for n, v in numbered),
        sections=tuple(section(n, v, view.buyer, view.subject_names) for n, v in numbered),
        refusals=tuple((r.source + (f", line {r.line}" if r.line else ""), r.reason) for r in view.refusals),
        apart=tuple((v.title, v.ref, FATES[v.fate]) for v in view.apart if v.fate),
        assumptions=view.assumptions,
        cautions=view.cautions,
        counts=tuple((words.spoken(name), count) for name, count in view.counts.items()),
    )


def parts(count: int) -> range:
    """The pages that so many vehicles take, one at least."""
    return range(max(-(-count // PER_PAGE), 1))


def file_name(name: str, part: int) -> str:
    """`ranking.html`, `ranking-2.html`, …"""
    return f"{name}.html" if part == 0 else f"{name}-{part + 1}.html"


def _others(count: int, part: int, name: str) -> tuple[tuple[str, str], ...]:
    return tuple(
        (file_name(name, n), f"{n * PER_PAGE + 1:,} to {min((n + 1) * PER_PAGE, count):,}")
        for n in parts(count)
        if n != part
    )


def _terms(view: ReportView) -> tuple[str, ...]:
    buyer, money = view.buyer, view.buyer.currency
    terms = [f"from {buyer.home}", f"for {_purpose(buyer.purpose)}"]
    if buyer.budget_total is not None:
        terms.append(f"{words.money(buyer.budget_total, money)} for price and first-year repair")
    for key, values in buyer.must.items():
        terms.append(f"{words.fact_name(key)} must be {' or '.join(str(value) for value in values)}")
    terms.append(f"labour at {words.money(buyer.labour_rate, money)} an hour")
    if buyer.does_own_work:
        terms.append("does own work")
    return tuple(terms)


def _purpose(purpose: str) -> str:
    return {"everyday": "everyday use", "working": "work", "original": "originality"}.get(purpose, f"a {purpose}")


def _answer(view: ReportView) -> str:
    """One sentence: of how many vehicles how many to visit, to ring and to leave."""
    here = [v for v in view.vehicles if not v.gone]
    said = [
        f"{count} {words_for}"
        for verdict, words_for in (("travel", "worth a visit"), ("ring first", "to ring first"), ("leave", "to leave"))
        if (count := sum(v.ranked.verdict == verdict for v in here))
    ]
    gone = len(view.vehicles) - len(here)
    if gone:
        said.append(f"{gone} probably gone")
    if view.passed_over:
        said.append(f"{len(view.passed_over):,} passed over at a quick look")
    return f"Of {len(view.vehicles) + len(view.passed_over):,} vehicles {', '.join(said)}." if said else ""


def _pick(number: int, vehicle: VehicleView, buyer: Buyer) -> Pick:
    ranked, prospect, currency = vehicle.ranked, vehicle.prospect, buyer.currency
    facts = [asked_price(vehicle)]
    if prospect.distance_miles is not None:
        facts.append(words.distance(prospect.distance_miles, buyer.units))
    facts.append(f"repair about {words.estimate(ranked.repair_cost.mean, currency)}")
    places = "; ".join(item.name for item in doubtful(prospect.repair.items, LOOKS))
    return Pick(
        anchor=f"v{number}",
        title=vehicle.title,
        facts=", ".join(facts),
        why="; ".join(reason.text for reason in ranked.reasons[: 2 if ranked.verdict == "travel" else 1]),
        pay="; ".join(f"{name} {price}" for name, price in pay(vehicle, currency).prices),
        ask=next((question.text for question in ranked.questions), ""),
        look=places,
    )


def _row(number: int, vehicle: VehicleView, buyer: Buyer, scale: Axis | None) -> Row:
    currency = buyer.currency
    ranked, prospect, repair = vehicle.ranked, vehicle.prospect, vehicle.prospect.repair
    surplus = ranked.surplus
    parts = f"{words.estimate(repair.admitted_mean, currency)} admitted, {words.estimate(repair.unsaid_mean, currency)}"
    price, far = prospect.asking_price, prospect.distance_miles
    return Row(
        number=number,
        anchor=f"v{number}",
        title=vehicle.title,
        place=prospect.place or "",
        verdict=ranked.verdict,
        verdict_key=("travel", "ring first", "leave").index(ranked.verdict),
        gone=vehicle.gone,
        flags=len(ranked.flags),
        visit=_visit(ranked, currency),
        surplus=_spread(surplus, currency),
        strip=strip(scale, surplus.p10, surplus.mean, surplus.p90) if surplus and scale else None,
        sound=_spread(ranked.sound_value, currency),
        repair=Figure(
            words.estimate(ranked.repair_cost.mean, currency),
            ranked.repair_cost.mean,
            words.between(ranked.repair_cost, currency),
            f"{parts} unsaid",
        ),
        price=Figure(
            words.money(price, prospect.currency) if price is not None else "none",
            price,
            under=prospect.refused_price or "",
        ),
        distance=Figure(words.distance(far, buyer.units) if far is not None else "not known", far),
    )


def _visit(ranked: Ranked, currency: str) -> Figure:
    if ranked.visit_worth is None:
        return Figure(NOT_VALUED, None)
    cost = f"a visit costs {words.estimate(ranked.visit_cost, currency)}" if ranked.visit_cost is not None else ""
    return Figure(words.estimate(ranked.visit_worth, currency), ranked.visit_worth, under=cost)


def _spread(spread: Spread | None, currency: str) -> Figure:
    if spread is None:
        return Figure(NOT_VALUED, None)
    return Figure(words.estimate(spread.mean, currency), spread.mean, words.between(spread, currency))


def _surplus_scale(vehicles: Sequence[VehicleView]) -> Axis | None:
    ends = [end for v in vehicles if (s := v.ranked.surplus) for end in (s.p10, s.p90)]
    return axis(ends, 2, 118) if ends else None


def _dot(number: int, vehicle: VehicleView, currency: str) -> Dot | None:
    ranked = vehicle.ranked
    sound, paid, cost = ranked.sound_value, ranked.price_to_pay, ranked.repair_cost
    if sound is None or paid is None:
        return None
    note = (
        f"{number}. {vehicle.title}: {ranked.verdict}; "
        f"sound value less price {words.estimate(sound.mean - paid, currency)} "
        f"({words.estimate(sound.p10 - paid, currency)} to {words.estimate(sound.p90 - paid, currency)}); "
        f"repair {words.estimate(cost.mean, currency)} ({words.between(cost, currency)})"
    )
    return Dot(
        number=number,
        anchor=f"v{number}",
        note=note,
        verdict=ranked.verdict,
        repair=(cost.p10, cost.mean, cost.p90),
        margin=(sound.p10 - paid, sound.mean - paid, sound.p90 - paid),
    )
