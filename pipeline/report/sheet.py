"""The call sheet and the viewing sheet of one vehicle: one HTML file to print, with room to write."""

from __future__ import annotations

import string
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.report import words
from pipeline.report.doubts import doubtful
from pipeline.report.page import render
from pipeline.report.section import Asked, Pay, Section, pay, section
from pipeline.schemas.knowledge import Knowledge
from pipeline.schemas.knowledge_parts import Seen
from pipeline.schemas.viewing import Check, Means, Stage, Tool, ViewingRules
from pipeline.types import Flag, ItemBelief, RepairEstimate, ReportView, VehicleView

DOUBTS = 10  # doubtful places on the whole sheet
FOREMOST = 5  # named at its head
ALSO_ASKED = 6  # questions of the packs beyond those that the ranking asks
FEW = 20  # samples below which no sum is named


@dataclass(frozen=True, slots=True)
class Doubt:
    """One place that this advert makes doubtful."""

    name: str
    code: str  # as `viewworthy note --found` takes it
    stage: str
    chance: str
    said: str  # what the advert says of it
    look: str
    normal: str
    bill: str
    caution: str
    ticks: tuple[str, ...]  # what can be found, as `viewworthy note --found` takes it


@dataclass(frozen=True, slots=True)
class CheckPart:
    do: str
    normal: str
    bill: str
    touched: bool  # it bears on a subject that this advert makes doubtful


@dataclass(frozen=True, slots=True)
class StagePart:
    name: str
    about: str
    cautions: tuple[str, ...]
    doubts: tuple[Doubt, ...]
    checks: tuple[CheckPart, ...]


@dataclass(frozen=True, slots=True)
class SheetContext:
    """Everything on the sheet, in its order."""

    day: str
    vehicle: Section
    flags: tuple[Flag, ...]
    questions: tuple[Asked, ...]
    also: tuple[str, ...]
    known: tuple[str, ...]
    pay: Pay
    foremost: tuple[Doubt, ...]
    stages: tuple[StagePart, ...]
    harmless: tuple[str, ...]
    bring: tuple[Tool, ...]
    cautions: tuple[str, ...]


def sheet(view: ReportView, vehicle: VehicleView, knowledge: Knowledge, viewing: ViewingRules) -> str:
    """The sheet as HTML, to be written as UTF-8; prints on A4 or letter, the call on its own page."""
    return render("sheet.html", "sheet.css", None, sheet=sheet_context(view, vehicle, knowledge, viewing))


def sheet_context(view: ReportView, vehicle: VehicleView, knowledge: Knowledge, viewing: ViewingRules) -> SheetContext:
    """What the sheet's template is given."""
    number = next((n for n, other in enumerate(view.vehicles, 1) if other.ref == vehicle.ref), 0)
    region = knowledge.regions[view.buyer.region]
    items, groups = vehicle.prospect.repair.items, {item.group for item in vehicle.prospect.repair.items}
    found = vehicle.prospect.evidence.findings
    stages = [s for s in viewing.stages if s.only_with is None or s.only_with in groups]
    chosen = [item for item in doubtful(items, DOUBTS) if item.item not in found]
    chosen += [item for item in items if item.admitted and item.expected_cost > 0 and item.item not in found]
    bills = _bills(vehicle.prospect.repair, view.buyer.currency)
    doubts = [_doubt(item, vehicle, knowledge, viewing, bills.get(item.item, "")) for item in chosen]
    touched = {subject for item in chosen for subject in item.subjects}
    told = section(number, vehicle, view.buyer, view.subject_names)
    return SheetContext(
        day=words.day(view.as_of),
        vehicle=told,
        flags=vehicle.ranked.flags,
        questions=told.questions,
        also=_also(chosen, vehicle, knowledge),
        known=tuple(f"{_name(key, knowledge)}: {state}" for key, state in found.items()),
        pay=pay(vehicle, view.buyer.currency),
        foremost=tuple(doubts[:FOREMOST]),
        stages=tuple(_stage(stage, doubts, touched, region.words) for stage in stages),
        harmless=tuple(dict.fromkeys(text for file in knowledge.files for text in file.harmless)),
        bring=viewing.bring,
        cautions=(*viewing.cautions, *(c for c in region.cautions if not any(c in own for own in viewing.cautions))),
    )


def best_means(seen: Seen) -> Means:
    """The means on the spot that shows a fault best."""
    chances: dict[Means, float] = {
        "walk_round": seen.walk_round,
        "underneath": seen.underneath,
        "road_test": seen.road_test,
    }
    return max(chances, key=lambda means: chances[means])


def stage_of(item: str, knowledge: Knowledge, viewing: ViewingRules) -> Stage | None:
    """Where in the walking order an item (fault or service) is looked at."""
    if item in knowledge.services:
        return viewing.stage_of("service", "walk_round")
    fault = knowledge.faults[item]
    return viewing.stage_of(fault.group, best_means(fault.seen))


def _doubt(item: ItemBelief, vehicle: VehicleView, knowledge: Knowledge, viewing: ViewingRules, bill: str) -> Doubt:
    stage, fault, service = stage_of(item.item, knowledge, viewing), None, knowledge.services.get(item.item)
    if service is None:
        fault = knowledge.faults[item.item]
    said = [c for c in vehicle.prospect.evidence.claims if c.subject in item.subjects]
    quotes = "; ".join(f"“{c.quote}”" for c in said[:2] if c.quote)
    return Doubt(
        name=item.name,
        code=item.item,
        stage=stage.name if stage else "",
        chance=_chance(item),
        said=f"the advert: {quotes}" if quotes else "the advert is silent",
        look=fault.look if fault else service.look if service else "",
        normal=fault.normal if fault else "",
        bill=bill,
        caution=fault.caution if fault else service.caution if service else "",
        ticks=("sound", "minor", "major", "not seen") if fault else ("done, bill seen", "due", "not known"),
    )


def _chance(item: ItemBelief) -> str:
    if item.admitted:
        return "admitted: see how far it goes"
    wrong = words.percent(item.minor + item.major)
    return f"{wrong} likely to be due" if item.kind == "service" else f"{wrong} likely to need work"


def _bills(repair: RepairEstimate, currency: str) -> dict[str, str]:
    """Item -> what it costs where it is bad: from the samples, the middle eight in ten."""
    bills = {}
    for item, costs in zip(repair.items, repair.item_costs.T, strict=True):
        bad = costs[costs > 0]
        if len(bad) >= FEW:
            low, high = (float(v) for v in np.percentile(bad, [10, 90]))
            bills[item.item] = f"{words.estimate(low, currency)} to {words.estimate(high, currency)}"
    return bills


def _also(chosen: list[ItemBelief], vehicle: VehicleView, knowledge: Knowledge) -> tuple[str, ...]:
    """What the packs would ask of the doubtful places, and of every such vehicle, that the ranking does not ask."""
    asked = {subject for question in vehicle.ranked.questions for subject in question.subjects}
    texts = {question.text for question in vehicle.ranked.questions}
    more = [
        part.ask
        for item in chosen
        if (part := knowledge.faults.get(item.item) or knowledge.services[item.item]).ask
        and not asked & set(item.subjects[:1])
    ]
    more += [text for file in reversed(knowledge.files) for text in file.questions]
    return tuple(text for text in dict.fromkeys(more) if text not in texts)[:ALSO_ASKED]


def _stage(stage: Stage, doubts: list[Doubt], touched: set[str], said: Mapping[str, str]) -> StagePart:
    return StagePart(
        name=stage.name,
        about=_local(stage.about, said),
        cautions=stage.cautions,
        doubts=tuple(doubt for doubt in doubts if doubt.stage == stage.name),
        checks=tuple(_check(check, touched, said) for check in stage.checks),
    )


def _check(check: Check, touched: set[str], said: Mapping[str, str]) -> CheckPart:
    return CheckPart(
        _local(check.do, said),
        _local(check.normal, said),
        _local(check.bill, said),
        bool(touched & set(check.subjects)),
    )


def _local(text: str, said: Mapping[str, str]) -> str:
    """The text with its {words} as the region says them, else as they stand."""
    fields = [field for _, field, _, _ in string.Formatter().parse(text) if field]
    for field in fields:
        text = text.replace(f"{{{field}}}", said.get(field, words.spoken(field)))
    return text


def _name(key: str, knowledge: Knowledge) -> str:
    part = knowledge.faults.get(key) or knowledge.services.get(key)
    return part.name if part else words.spoken(key)
