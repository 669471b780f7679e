"""A vehicle's adverts and prices over time, worded: the text with its marks, what was read, and where it came from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pipeline.report import words
from pipeline.report.marks import Piece, pieces, spans
from pipeline.report.plot import steps
from pipeline.types import STATUSES, AdvertView, Claim, PricePoint, Status


@dataclass(frozen=True, slots=True)
class Price:
    day: str
    amount: str
    what: str


@dataclass(frozen=True, slots=True)
class AdvertPart:
    """One advert: where it came from, its text in pieces, and what was read in it."""

    name: str
    about: str
    url: str
    pieces: tuple[Piece, ...]
    facts: tuple[str, ...]
    said: tuple[tuple[str, str], ...]
    beside: tuple[str, ...]
    rivals: tuple[str, ...]


def price(point: PricePoint) -> Price:
    """One day's price, as stated."""
    amount = words.money(point.price, point.currency or "") if point.price is not None else "no price"
    return Price(words.day(point.day), amount, point.what)


def price_path(points: Sequence[PricePoint]) -> str:
    """The history as an SVG path, empty unless there is a change to draw and one currency to draw it in."""
    known = sorted((p.day.toordinal(), p.price, p.currency or "") for p in points if p.price is not None)
    if len({amount for _, amount, _ in known}) < 2 or len({currency for _, _, currency in known}) > 1:
        return ""
    return steps([when for when, _, _ in known], [amount for _, amount, _ in known])


def advert_part(advert: AdvertView, names: Mapping[str, str]) -> AdvertPart:
    """One advert with its evidence marked in place."""
    found, beside = spans(advert.text, advert.reading, names)
    about = [f"saved {words.day(advert.saved_on)}", advert.linked_because]
    return AdvertPart(
        name=advert.source,
        about="; ".join(part for part in about if part),
        url=advert.url or "",
        pieces=pieces(advert.text, found),
        facts=tuple(f"{words.fact_name(f.key)} {words.fact_value(f.key, f.value)}" for f in advert.reading.facts),
        said=_said(advert.reading.claims, names),
        beside=beside,
        rivals=tuple(words.fact_note(fact) for fact in advert.reading.rivals),
    )


def _said(claims: Iterable[Claim], names: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """(status in words, subjects) for each status that occurs."""
    groups: dict[Status, list[str]] = {status: [] for status in STATUSES}
    for claim in claims:
        grade = "" if claim.grade == "plain" else claim.grade
        extra = ", ".join(part for part in (grade, words.claim_when(claim)) if part)
        name = words.subject(claim.subject, names)
        groups[claim.status].append(f"{name} ({extra})" if extra else name)
    return tuple((words.STATUS_WORDS[status], "; ".join(found)) for status, found in groups.items() if found)
