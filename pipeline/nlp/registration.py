"""British and Irish registration marks: their shapes, and the years that a letter or age code covers."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Literal

from pipeline.paths import data_folder
from pipeline.schemas.registration import Registration, load_registration

Shape = Literal["suffix", "prefix"]

_AGE = re.compile(r"[A-HJ-PR-Y]{2}(\d{2}) ?[A-HJ-PR-Z]{3}")
_PREFIX = re.compile(r"([A-HJ-NPR-TV-Y])[1-9]\d{0,2} ?[A-HJ-PR-Y]{3}")
_SUFFIX = re.compile(r"[A-HJ-PR-Y]{3} ?[1-9]\d{0,2}([A-HJ-NPR-TV-Y])")
_NORTHERN = re.compile(r"[A-HJ-PR-Z]?(?:I[A-HJ-PR-Z]|[A-HJ-PR-Y]Z) ?[1-9]\d{0,3}")
_IRISH = re.compile(r"(\d{2})([12]?)[- ]([A-Z]{1,2})[- ]\d{1,6}")


@lru_cache(maxsize=1)
def table() -> Registration:
    """The table that comes with the program."""
    return load_registration(data_folder("rules"))


def letter_years(letter: str, shape: Shape) -> tuple[int, ...]:
    """Years that a letter at the end (`suffix`) or the front (`prefix`) of a mark covers, oldest first."""
    periods = table().suffix if shape == "suffix" else table().prefix
    period = periods.get(letter.upper())
    return _between(*period) if period else ()


def bare_letter_years(letter: str) -> tuple[int, ...]:
    """Years of "B reg" said alone: the newer series, which is the likelier one to be on sale."""
    return letter_years(letter, "prefix") or letter_years(letter, "suffix")


def age_code_years(code: str) -> tuple[int, ...]:
    """Years of a two-digit age code: "14" (2014,), "53" (2003, 2004); empty when the code was never used."""
    if len(code) != 2 or not code.isdecimal():
        return ()
    rules, number = table().age_code, int(code)
    if number > rules.autumn_offset:
        year, month = 2000 + number - rules.autumn_offset, rules.autumn_month
        years: tuple[int, ...] = (year, year + 1)
    else:
        year, month = 2000 + number, rules.spring_month
        years = (year,)
    return years if f"{year}-{month:02d}" >= rules.first and number != rules.autumn_offset else ()


def irish_years(prefix: str) -> tuple[int, ...]:
    """Years of an Irish year prefix: "98" (1998,), "142" (2014,); empty when there is none."""
    if not prefix.isdecimal() or len(prefix) not in (2, 3):
        return ()
    rules, short = table().irish, int(prefix[:2])
    year = (1900 if short >= rules.first_year % 100 else 2000) + short
    if len(prefix) == 3:
        return (year,) if year >= rules.halves_from and prefix[2] in "12" else ()
    return (year,) if rules.first_year <= year < rules.halves_from else ()


def mark_years(mark: str) -> tuple[int, ...] | None:
    """Years that a whole mark (capitals) covers; empty where its shape tells no year, None when it is no mark."""
    if (found := _IRISH.fullmatch(mark)) is not None:
        known = found[3] in table().irish.counties
        return irish_years(found[1] + found[2]) or None if known else None
    if (found := _AGE.fullmatch(mark)) is not None:
        return age_code_years(found[1]) or None
    if (found := _PREFIX.fullmatch(mark)) is not None:
        return letter_years(found[1], "prefix")
    if (found := _SUFFIX.fullmatch(mark)) is not None:
        return letter_years(found[1], "suffix")
    return () if _NORTHERN.fullmatch(mark) else None


def _between(first: str, last: str) -> tuple[int, ...]:
    return tuple(range(int(first[:4]), int(last[:4]) + 1))
