"""The pages that list what a quick look left out of a very large search."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.report import words
from pipeline.types import PassedOver, ReportView

PER_PAGE = 5000  # rows of one line each


@dataclass(frozen=True, slots=True)
class PassedRow:
    """One vehicle, worded."""

    ref: str
    title: str
    price: str
    worth: str
    why: str


@dataclass(frozen=True, slots=True)
class PassedContext:
    """One page. `before`, `after`: the neighbouring pages' files, empty where there is none."""

    title: str
    day: str
    first: str  # the page with the ranking
    which: str
    before: str
    after: str
    rows: tuple[PassedRow, ...]


def passed_parts(count: int) -> range:
    """The pages that so many vehicles take."""
    return range(-(-count // PER_PAGE))


def passed_name(name: str, part: int) -> str:
    """`ranking-passed-1.html`, `ranking-passed-2.html`, …"""
    return f"{name}-passed-{part + 1}.html"


def passed_over(view: ReportView, part: int, name: str) -> PassedContext:
    """What stands on one page, from 0."""
    count, start = len(view.passed_over), part * PER_PAGE
    some = view.passed_over[start : start + PER_PAGE]
    last = len(passed_parts(count)) - 1
    return PassedContext(
        title=view.buyer.search_name or "Vehicles worth a visit",
        day=words.day(view.as_of),
        first=f"{name}.html",
        which=f"{start + 1:,} to {start + len(some):,} of {count:,}",
        before=passed_name(name, part - 1) if part else "",
        after=passed_name(name, part + 1) if part < last else "",
        rows=tuple(_row(one, view.buyer.currency) for one in some),
    )


def _row(one: PassedOver, currency: str) -> PassedRow:
    return PassedRow(
        one.ref,
        one.title,
        words.money(one.asking_price, currency) if one.asking_price is not None else "none",
        words.estimate(one.worth, currency) if one.worth is not None else "not valued",
        one.why,
    )
