"""The adviser's pages: one a member with the few that suit, and the summary of all members."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.report import words
from pipeline.report.context import context
from pipeline.report.page import render
from pipeline.report.section import asked_price, pay
from pipeline.types import AdviserView, MemberView, VehicleView

SEPARATE = "; "


@dataclass(frozen=True, slots=True)
class Line:
    """One of a member's best, in the summary."""

    ref: str
    title: str
    verdict: str
    about: str
    others: tuple[str, ...]  # members who compete for it


@dataclass(frozen=True, slots=True)
class MemberLine:
    key: str
    name: str
    terms: str
    note: str
    adviser_note: str
    best: tuple[Line, ...]
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rivals:
    """A vehicle that suits several members: who, with what a visit is worth to each, most first."""

    ref: str
    title: str
    members: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class SummaryContext:
    day: str
    pool: str
    vehicles: int
    members: tuple[MemberLine, ...]
    rivals: tuple[Rivals, ...]
    without: tuple[MemberLine, ...]
    refused: tuple[tuple[str, str], ...]


def member_page(member: MemberView) -> str:
    """One member's page as HTML, to be written as UTF-8. Nothing of another member is given to its template."""
    one = member.member
    return render(
        "member.html",
        "page.css",
        "page.js",
        page=context(member.view),
        name=one.name,
        note=one.note,
        best=[_line(vehicle, member, ()) for vehicle in member.view.vehicles],
        changes=member.changes,
    )


def summary_page(view: AdviserView) -> str:
    """The adviser's summary as HTML, to be written as UTF-8. It holds all members' details: for the adviser alone."""
    return render("summary.html", "page.css", None, page=summary_context(view))


def summary_context(view: AdviserView) -> SummaryContext:
    """What the summary's template is given."""
    wanted = {one.member.key: {vehicle.ref for vehicle in one.view.vehicles} for one in view.members}
    lines = tuple(_member_line(one, view.members, wanted) for one in view.members)
    return SummaryContext(
        day=words.day(view.as_of),
        pool=view.pool,
        vehicles=view.vehicles,
        members=lines,
        rivals=tuple(_rivals(view.members)),
        without=tuple(line for line in lines if not line.best),
        refused=tuple((refusal.source, refusal.reason) for refusal in view.refusals),
    )


def _member_line(one: MemberView, members: Iterable[MemberView], wanted: dict[str, set[str]]) -> MemberLine:
    others = {
        vehicle.ref: tuple(
            other.member.name
            for other in members
            if other.member.key != one.member.key and vehicle.ref in wanted[other.member.key]
        )
        for vehicle in one.view.vehicles
    }
    buyer = one.view.buyer
    terms = [f"from {buyer.home}", buyer.purpose]
    if buyer.budget_total is not None:
        terms.append(words.money(buyer.budget_total, buyer.currency))
    terms += [f"{words.fact_name(key)} {' or '.join(map(str, values))}" for key, values in buyer.must.items()]
    return MemberLine(
        key=one.member.key,
        name=one.member.name,
        terms=SEPARATE.join(terms),
        note=one.member.note,
        adviser_note=one.member.adviser_note,
        best=tuple(_line(vehicle, one, others[vehicle.ref]) for vehicle in one.view.vehicles),
        changes=one.changes,
    )


def _line(vehicle: VehicleView, member: MemberView, others: tuple[str, ...]) -> Line:
    ranked, buyer = vehicle.ranked, member.view.buyer
    about = [asked_price(vehicle)]
    if vehicle.prospect.distance_miles is not None:
        about.append(words.distance(vehicle.prospect.distance_miles, buyer.units))
    if ranked.visit_worth is not None:
        about.append(f"visit worth {words.estimate(ranked.visit_worth, buyer.currency)}")
    about += [f"{name} {price}" for name, price in pay(vehicle, buyer.currency).prices[-1:]]
    return Line(vehicle.ref, vehicle.title, ranked.verdict, ", ".join(about), others)


def _rivals(members: Iterable[MemberView]) -> Iterable[Rivals]:
    """Vehicles among the best of two members or more, the most wanted first."""
    found: dict[str, list[tuple[float, str, str]]] = {}
    titles: dict[str, str] = {}
    for one in members:
        for place, vehicle in enumerate(one.view.vehicles, 1):
            worth = vehicle.ranked.visit_worth
            told = words.estimate(worth, one.view.buyer.currency) if worth is not None else "not valued"
            told = f"{('first', 'second', 'third')[place - 1] if place <= 3 else place} choice, visit worth {told}"
            found.setdefault(vehicle.ref, []).append((-(worth or 0.0), one.member.name, told))
            titles[vehicle.ref] = vehicle.title
    several = sorted(((ref, rows) for ref, rows in found.items() if len(rows) > 1), key=lambda r: (-len(r[1]), r[0]))
    for ref, rows in several:
        yield Rivals(ref, titles[ref], tuple((name, told) for _, name, told in sorted(rows)))
