"""Reads the dates of tests: "March", "end of Feb", "11th Dec", "19/08/27", "04.2027", "Jan '27", "10 months"."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

from pipeline.nlp.facts.phrases import NUMBER_WORDS, count

_COUNT = r"\d{1,2}|" + "|".join(sorted(set(NUMBER_WORDS), key=len, reverse=True))
_DAY = r"(?:the )?(?P<day>\d{1,2})(?:st|nd|rd|th)?(?: of)?"
_YEAR = r"(?P<year>(?:19|20)\d\d|['’]\d\d(?!\d))"
_NUMERIC = re.compile(
    r"(?P<a>\d{1,2})(?P<s>[./-])(?P<b>\d{1,2})(?P=s)(?P<c>\d{4}|\d{2})(?![\d.,]\d|\d)"
    r"|(?P<y>20\d\d)-(?P<m>\d{2})(?:-\d\d)?(?!\d)"
    r"|(?P<m2>\d{1,2})[./-](?P<y2>20\d\d|\d{1,2})(?![\d/]|[.,]\d)"
)
_FIGURED = re.compile(r"\d[./-]\d")  # what stands in every match of `_NUMERIC`, and is found sooner
_LETTERS = re.compile(r"[a-z]+")
_BEFORE_MONTH = ("", "st", "nd", "rd", "th", "of")  # what may be glued to its name
_SPAN = re.compile(
    r"(?!(?:first|second|third|fourth|fifth)(?!\w))"  # "the third week of May" is no length of time
    rf"(?P<n>{_COUNT}|an?(?= ))(?: and a half|\+)?['’]?[ -]?(?P<unit>months?|mths?|mnths?|mo|m|weeks?|wks?|days?|years?"
    rf"|yrs?)(?![a-z])['’]?s?"
)
_UNIT = re.compile(r"(?:m(?:o|onths?|n?ths?)?|w(?:ee)?ks?|days?|y(?:ea)?rs?)(?![a-z])")  # in it, and found sooner
_RELATIVE = re.compile(r"(?<![a-z])(?P<which>next|this|last) month(?![a-z])")


class Spoken(NamedTuple):
    """A month found in a text. `year` None: it was not said. Offsets in the text read."""

    start: int
    end: int
    month: int
    year: int | None
    day: int | None = None
    which: str | None = None  # "next" or "last" before it
    short: bool = False  # the year was two bare digits, which could be a day


class Span(NamedTuple):
    """A length of time, months."""

    start: int
    end: int
    months: float


class Dates:
    """Reads dates with the given names of months (number -> names)."""

    def __init__(self, months: Mapping[int, tuple[str, ...]]) -> None:
        self._number = {name: number for number, names in months.items() for name in names}
        begins = {name for name in map(_LETTERS.match, self._number) if name}
        self._begins = frozenset(before + begin.group() for begin in begins for before in _BEFORE_MONTH)
        names = "|".join(sorted(map(re.escape, self._number), key=len, reverse=True))
        self._named = re.compile(
            rf"(?<![a-z])(?:(?P<which>next|this|last) )?(?:{_DAY}[ -]{{0,2}})?(?P<month>{names})(?![a-z])\.?"
            rf"(?:[ -]?(?:the )?(?P<day2>\d{{1,2}})(?:st|nd|rd|th)(?!\w))?(?:[ ,-]{{0,2}}{_YEAR}(?![\d.,]*\d))?"
            r"(?:[ -]?(?P<short>\d\d)(?![\d\w.,/:%]*\d|[a-z%]| ?(?:th|st|k|miles|months|mths)))?"
            r"(?P<thisyear> this year| next year| last year)?"
        )

    def months(self, low: str, around: int, limit: int = 8) -> list[Spoken]:
        """Months named or written in figures in a lower-case stretch, at most `limit`.

        Two digits after a month are a year when they are near the year `around`, a day otherwise.
        """
        found: list[Spoken] = []
        if low.isascii() and self._begins.isdisjoint(_LETTERS.findall(low)):
            return found  # the names are many, and looked for at every letter
        for match in self._named.finditer(low):
            year, two = _year(match["year"]), False
            day = int(match["day"] or match["day2"] or 0) or None
            if match["short"] and year is None:
                short = int(match["short"])
                if -12 <= short + 2000 - around <= 3 and (day is not None or short + 2000 >= around - 2):
                    year, two = 2000 + short, day is None
                elif 1 <= short <= 31 and day is None:
                    day = short
            which = match["which"] or (match["thisyear"] or "").strip().split(" ")[0] or None
            found.append(Spoken(match.start(), match.end(), self._number[match["month"]], year, day, which, two))
            if len(found) >= limit:
                return found
        return found

    def figures(self, low: str, month_first: bool) -> list[Spoken]:
        """Dates in figures: 19/08/27, 04.2027, 3/27; the day first unless `month_first`."""
        found: list[Spoken] = []
        for match in _NUMERIC.finditer(low) if _FIGURED.search(low) else ():
            if match.start() and (low[match.start() - 1].isalnum() or low[match.start() - 1] in ".,/-£$€"):
                continue
            if match["a"]:
                first, second, year = int(match["a"]), int(match["b"]), _two(match["c"])
                month, day = (first, second) if month_first else (second, first)
                if month > 12:
                    month, day = day, month
            elif match["y"]:
                year, month, day = int(match["y"]), int(match["m"]), 0
            else:
                year, month, day = _two(match["y2"]), int(match["m2"]), 0
                if match["s"] is None and len(match["y2"]) < 3 and not 15 <= year - 2000 <= 40:
                    first, second = int(match["m2"]), year - 2000  # 12/8: a day of this year
                    month, day = (first, second) if month_first else (second, first)
                    if 1 <= month <= 12 and 1 <= day <= 31:
                        found.append(Spoken(match.start(), match.end(), month, None, day))
                    continue
            if 1 <= month <= 12 and 1990 <= year <= 2060:
                found.append(Spoken(match.start(), match.end(), month, year, day or None))
        return found

    def relative(self, low: str, saved_on: date) -> list[Spoken]:
        """Months told from the day of the advert: "last month", "next month"."""
        found: list[Spoken] = []
        for match in _RELATIVE.finditer(low) if " month" in low else ():
            index = saved_on.year * 12 + saved_on.month - 1 + {"last": -1, "this": 0, "next": 1}[match["which"]]
            found.append(Spoken(match.start(), match.end(), index % 12 + 1, index // 12, None, match["which"]))
        return found

    def spans(self, low: str) -> list[Span]:
        """Lengths of time: "10 months", "six months'", "12mths", "2 years", "9 days"."""
        per = {"m": 1.0, "w": 12 / 52.18, "d": 12 / 365.25, "y": 12.0}
        found = []
        for match in _SPAN.finditer(low) if _UNIT.search(low) else ():
            if match.start() and (low[match.start() - 1].isalnum() or low[match.start() - 1] in ".,/£$€"):
                continue
            number = 1 if match["n"] in ("a", "an") else count(match["n"])
            if number and (match["unit"] != "m" or number in range(1, 25)):
                found.append(Span(match.start(), match.end(), number * per[match["unit"][0]]))
        return found


def later(spoken: Spoken, saved_on: date) -> str:
    """`YYYY-MM` of a month, the next occurrence from `saved_on` when no year was said."""
    year = spoken.year
    if year is None:
        year = saved_on.year
        passed = (spoken.month, spoken.day or 31) < (saved_on.month, saved_on.day)
        if spoken.which == "last":
            year -= spoken.month >= saved_on.month
        elif (passed and spoken.which != "this") or (spoken.which == "next" and spoken.month == saved_on.month):
            year += 1
    return f"{year}-{spoken.month:02d}"


def earlier(spoken: Spoken, saved_on: date) -> str:
    """`YYYY-MM` of a month, the last occurrence up to `saved_on` when no year was said."""
    year = spoken.year
    if year is None:
        year = saved_on.year - ((spoken.month, spoken.day or 1) > (saved_on.month, saved_on.day))
        if spoken.which == "last" and (year, spoken.month) == (saved_on.year, saved_on.month):
            year -= 1
    return f"{year}-{spoken.month:02d}"


def shifted(saved_on: date, months: float) -> str:
    """`YYYY-MM` a number of months after `saved_on` (before, when negative); parts of a month as days."""
    whole = int(months)
    index = saved_on.year * 12 + saved_on.month - 1 + whole
    days = round((months - whole) * 30.44)
    day = date(index // 12, index % 12 + 1, min(saved_on.day, 28))
    day = date.fromordinal(day.toordinal() + days)
    return f"{day.year}-{day.month:02d}"


def _two(text: str) -> int:
    value = int(text)
    return value if value > 99 else 2000 + value


def _year(text: str | None) -> int | None:
    return None if text is None else int(text) if len(text) == 4 else 2000 + int(text[1:])
