"""What the desk's pages show, as typed values: the ranking, one vehicle with what was read in it, its record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.desk.state import Seen
from pipeline.notes.words import CHOICES, statuses
from pipeline.report import words
from pipeline.report.adverts import AdvertPart, advert_part
from pipeline.report.learnt import FATES, heading, lines
from pipeline.report.section import Section, asked_price, section
from pipeline.types import FACT_KEYS, GRADES, AdvertView, Claim, Fact, ReportView, VehicleView


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the ranking. `place` 0: kept apart."""

    place: int
    ref: str
    title: str
    where: str
    verdict: str
    worth: str
    surplus: str
    repair: str
    price: str
    recorded: int
    fate: str


@dataclass(frozen=True, slots=True)
class FactRow:
    """A fact that was read, or that could have been; `value` as a person would type it."""

    key: str
    name: str
    shown: str
    value: str
    quote: str
    rule: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClaimRow:
    subject: str
    name: str
    status: str
    shown: str
    grade: str
    at_mileage: str
    at_year: str
    quote: str
    rule: str


@dataclass(frozen=True, slots=True)
class Advert:
    """One advert: its text in pieces, what was read in it, and what it does not state."""

    number: int
    advert_id: str
    part: AdvertPart
    facts: tuple[FactRow, ...]
    missing: tuple[FactRow, ...]
    claims: tuple[ClaimRow, ...]


@dataclass(frozen=True, slots=True)
class Noted:
    heading: str
    lines: tuple[str, ...]
    undone: bool


@dataclass(frozen=True, slots=True)
class VehiclePage:
    """All of one vehicle. `version` changes whenever something is recorded of it."""

    section: Section
    place: str
    fate: str
    version: str
    adverts: tuple[Advert, ...]
    notes: tuple[Noted, ...]
    can_undo: bool
    asks: tuple[tuple[str, str], ...]  # question, subject
    parts: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]  # group, (name as `--found` takes it, name)
    subjects: tuple[tuple[str, str], ...]
    grades: tuple[str, ...]
    statuses: tuple[tuple[str, str], ...]
    currency: str


def rows(view: ReportView) -> tuple[Row, ...]:
    """The ranking, best first."""
    return tuple(_row(place, vehicle, view) for place, vehicle in enumerate(view.vehicles, 1))


def apart(view: ReportView) -> tuple[Row, ...]:
    """What was bought, sold or is gone by the buyer's record."""
    return tuple(_row(0, vehicle, view) for vehicle in view.apart)


def _row(place: int, vehicle: VehicleView, view: ReportView) -> Row:
    ranked, prospect, c = vehicle.ranked, vehicle.prospect, view.buyer.currency
    far = "" if prospect.distance_miles is None else words.distance(prospect.distance_miles, view.buyer.units)
    return Row(
        place=place,
        ref=vehicle.ref,
        title=vehicle.title,
        where=", ".join(part for part in (prospect.place or "", far) if part),
        verdict=ranked.verdict,
        worth="–" if ranked.visit_worth is None else words.estimate(ranked.visit_worth, c),
        surplus="–" if ranked.surplus is None else words.estimate(ranked.surplus.mean, c),
        repair=words.estimate(ranked.repair_cost.mean, c),
        price=asked_price(vehicle),
        recorded=sum(not note.undone for note in vehicle.notes),
        fate=FATES.get(vehicle.fate, ""),
    )


def version(vehicle: VehicleView) -> str:
    """What a form carries, so that two tabs do not write over each other: notes made and notes taken back."""
    return f"{len(vehicle.notes)}.{sum(note.undone for note in vehicle.notes)}"


def vehicle_page(seen: Seen, vehicle: VehicleView) -> VehiclePage:
    view, names = seen.view, seen.view.subject_names
    place = next((n for n, v in enumerate(view.vehicles, 1) if v.ref == vehicle.ref), 0)
    items = {item.item: item.name for item in vehicle.prospect.repair.items}
    currency = view.buyer.currency
    return VehiclePage(
        section=section(place, vehicle, view.buyer, names),
        place=f"{place} of {len(view.vehicles)}" if place else "kept apart",
        fate=FATES.get(vehicle.fate, ""),
        version=version(vehicle),
        adverts=tuple(_advert(n, advert, names) for n, advert in enumerate(vehicle.texts)),
        notes=tuple(
            Noted(
                heading(note),
                tuple(lines(note, names, items, currency, seen.note_readings.get(note.number))),
                note.undone,
            )
            for note in reversed(vehicle.notes)
        ),
        can_undo=any(not note.undone for note in vehicle.notes),
        asks=_asks(vehicle),
        parts=_parts(vehicle, names, seen.recorder.rules.finding.no_parts),
        subjects=tuple(sorted(names.items(), key=lambda pair: pair[1])),
        grades=GRADES,
        statuses=tuple((status, words.STATUS_WORDS[status]) for status in statuses()),
        currency=currency,
    )


def _asks(vehicle: VehicleView) -> tuple[tuple[str, str], ...]:
    """The questions of the call sheet that one subject answers, the first that asks of each."""
    found: dict[str, str] = {}
    for question in vehicle.ranked.questions:
        if question.subjects:
            found.setdefault(question.subjects[0], question.text)
    return tuple((text, subject) for subject, text in list(found.items())[:8])


def _parts(
    vehicle: VehicleView, names: Mapping[str, str], no_parts: Sequence[str]
) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """What can be found at a viewing: whole subjects first, then single items by group."""
    groups: dict[str, list[tuple[str, str]]] = {}
    spoken_of = {subject for item in vehicle.prospect.repair.items for subject in item.subjects}
    whole = [(code, name) for code, name in names.items() if code in spoken_of and code not in no_parts]
    groups["parts as a whole"] = sorted(whole, key=lambda pair: pair[1])
    for item in sorted(vehicle.prospect.repair.items, key=lambda item: item.name):
        groups.setdefault(item.group, []).append((item.item, item.name))
    return tuple((group, tuple(found)) for group, found in groups.items())


def _advert(number: int, advert: AdvertView, names: Mapping[str, str]) -> Advert:
    stated = {fact.key for fact in advert.reading.facts}
    return Advert(
        number=number,
        advert_id=advert.advert_id,
        part=advert_part(advert, names),
        facts=tuple(_fact(fact.key, fact) for fact in advert.reading.facts),
        missing=tuple(_fact(key, None) for key in FACT_KEYS if key not in stated),
        claims=tuple(_claim(claim, names) for claim in advert.reading.claims),
    )


def _fact(key: str, fact: Fact | None) -> FactRow:
    return FactRow(
        key=key,
        name=words.fact_name(key),
        shown=words.fact_value(key, fact.value) if fact else "",
        value=_typed(fact.value) if fact else "",
        quote=fact.quote if fact else "",
        rule=fact.rule if fact else "",
        choices=CHOICES.get(key, ()),
    )


def _typed(value: object) -> str:
    return " or ".join(map(str, value)) if isinstance(value, (list, tuple)) else str(value)


def _claim(claim: Claim, names: Mapping[str, str]) -> ClaimRow:
    return ClaimRow(
        subject=claim.subject,
        name=words.subject(claim.subject, names),
        status=claim.status,
        shown=", ".join(
            part
            for part in (
                words.STATUS_WORDS[claim.status],
                "" if claim.grade == "plain" else claim.grade,
                words.claim_when(claim),
            )
            if part
        ),
        grade=claim.grade,
        at_mileage=str(claim.at_mileage or ""),
        at_year=str(claim.at_year or ""),
        quote=claim.quote,
        rule=claim.rule,
    )
