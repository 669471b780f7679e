"""When a thing was done or is due: years, months, spans of time, odometer readings."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from pipeline.nlp.tokens import Tokens

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "january jan", "february feb", "march mar", "april apr", "may", "june jun", "july jul", "august aug",
            "september sept sep", "october oct", "november nov", "december dec xmas christmas",
        ),
        1,
    )
    for name in names.split()
}  # fmt: skip
_SEASONS = {"spring": 4, "summer": 7, "autumn": 10, "fall": 10, "winter": 1, "easter": 4}
_WORDS = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
    "ten": 10, "eleven": 11, "twelve": 12, "couple": 2, "few": 3, "last": 1,
}  # fmt: skip
_UNITS = {"year": 12.0, "yr": 12.0, "month": 1.0, "mth": 1.0, "mths": 1.0, "week": 0.23, "wk": 0.23, "day": 0.033,
          "summer": 12.0, "winter": 12.0, "season": 12.0}  # fmt: skip
_DURING = frozenset({"in", "over", "during", "the", "at", "early", "late", "since", "by", "from"})
_OF_SEASON = {"spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11), "fall": (9, 10, 11)}
_OCCASIONS = frozenset({"time", "year", "visit", "week", "day", "month", "occasion"})
_OTHER_ENGINE = frozenset({"one", "engine", "motor", "unit", "lump", "box", "gearbox", "donor", "example"})
_BEFORE_READING = frozenset({"at", "@", "by", "around", "about", "circa", "approx", "approximately", "on", "done", ":"})
_PAST = frozenset({"ago", "back", "old", "since", "before", "earlier", "prior"})
_ORDINALS = frozenset({"st", "nd", "rd", "th", "of"})
_MILES = frozenset({"mile", "k", "km", "kms", "kilometre", "kilometer", "mi", "clicks"})
_NUMBER = re.compile(r"^(\d{1,3}(?:[,.]\d{3})+|\d+(?:\.\d+)?)(k|km|kms|mi|miles|m)?$")


@dataclass(slots=True, frozen=True)
class When:
    """A time at tokens start..end: an odometer reading, a year, or both unknown parts None."""

    start: int
    end: int
    mileage: int | None = None
    year: int | None = None
    month: int | None = None  # a month or season without a year: the year depends on done or due
    season: bool = False


def find_times(tokens: Tokens, saved_on: date, mileage: int | None) -> list[When]:
    """Every time expression of the tokens, in order."""
    found: list[When] = []
    norms = tokens.norms
    size = len(norms)
    at = 0
    while at < size:
        norm = norms[at]
        when: When | None = None
        if norm in ("last", "this", "next") and at + 1 < size:
            when = _relative(norms, at, saved_on)
        if when is None and (norm[0].isdigit() or norm in _WORDS):
            when = _number(tokens, at, saved_on, mileage)
        elif when is None and norm == "yesterday":
            when = When(at, at + 1, year=date.fromordinal(saved_on.toordinal() - 1).year)
        elif when is None and norm in _MONTHS:
            when = _month(tokens, at, saved_on)
        elif when is None and norm in _SEASONS and at and norms[at - 1] in _DURING:
            when = _season(norms, at)
        elif when is None and norm == "same" and found and at + 1 < size and norms[at + 1] in _OCCASIONS:
            when = _same(at, found)
        if when is not None:
            found.append(when)
            at = when.end
        else:
            at += 1
    return found


def _relative(norms: list[str], at: int, saved_on: date) -> When | None:
    word = norms[at + 1]
    last, to_come = norms[at] == "last", norms[at] == "next"
    if word == "year":
        return When(at, at + 2, year=saved_on.year - last + to_come)
    if word in ("month", "week", "weekend"):
        days = {"month": 31, "week": 7, "weekend": 5}[word] * (last - to_come)
        return When(at, at + 2, year=date.fromordinal(saved_on.toordinal() - days).year)
    if word in _SEASONS:
        month = _SEASONS[word]
        year = saved_on.year
        now = saved_on.month in _OF_SEASON.get(word, ())  # "last autumn", said in autumn, is last year's
        if last and (month >= saved_on.month or word == "winter" or now):
            year -= 1
        if to_come and month <= saved_on.month:
            year += 1
        return When(at, at + 2, year=year)
    if word in _MONTHS:
        month = _MONTHS[word]
        year = saved_on.year - (last and month >= saved_on.month) + (to_come and month <= saved_on.month)
        return When(at, at + 2, year=year)
    return None


def _same(at: int, found: list[When]) -> When:
    """ "Same time": the time told last, in both its parts when they stood together."""
    last = found[-1]
    mileage, year, month = last.mileage, last.year, last.month
    if len(found) > 1 and last.start - found[-2].end <= 2:
        other = found[-2]
        mileage, year, month = mileage or other.mileage, year or other.year, month or other.month
    return When(at, at + 2, mileage, year, month)


def _season(norms: list[str], at: int) -> When | None:
    """ "In the spring", "over the winter": the word alone may be a coil spring or a fall."""
    before = norms[at - 2] if at > 1 else ""
    if norms[at - 1] == "the" and before not in ("in", "over", "during"):
        return None
    return When(at, at + 1, month=_SEASONS[norms[at]], season=True)


def _month(tokens: Tokens, at: int, saved_on: date) -> When | None:
    norms = tokens.norms
    size = len(norms)
    if at and norms[at - 1] in ("every", "each"):
        return None
    if norms[at] == "may" and not tokens.text[tokens.starts[at]].isupper():
        return None
    if at + 1 < size:
        after = norms[at + 1]
        if after == "of" and at + 2 < size:
            after = norms[at + 2]
        if after == "last" and at + 2 < size and norms[at + 2] != "year":
            return When(at, at + 2, year=saved_on.year - (_MONTHS[norms[at]] > saved_on.month))
        year = _year(after, saved_on)
        if year is not None:
            return When(at, at + 2, year=year)
        place = at + 1
        if after in ("'", "’", "`") and at + 2 < size:
            place, after = at + 2, norms[at + 2]
        if len(after) == 2 and after.isdigit() and int(after) <= saved_on.year % 100 + 2 and int(after) > 5:
            start = tokens.starts[place]
            if place == at + 2 or (tokens.text[start - 1] in " '’" and int(after) > 12):
                return When(at, place + 1, year=2000 + int(after))
    return When(at, at + 1, month=_MONTHS[norms[at]])


def _number(tokens: Tokens, at: int, saved_on: date, mileage: int | None) -> When | None:
    norms = tokens.norms
    norm = norms[at]
    size = len(norms)
    before = norms[at - 1] if at else ""
    # "two years ago", "18 months old", "couple of years back"
    count = float(_WORDS[norm]) if norm in _WORDS else None
    compact = re.match(r"^(\d+)(yrs?|mths?|years?|wks?|m)$", norm)
    place = at + 1
    if norm in ("a", "last") and place < size and norms[place] in ("couple", "few"):
        count, place = float(_WORDS[norms[place]]), place + 1
    if place < size and norms[place] == "of":
        place += 1
    if norm[0].isdigit() and norm.isdigit():
        count = float(norm)
    unit = ""
    if compact and compact.group(2) != "m":
        count, unit, place = float(compact.group(1)), compact.group(2), at + 1
    elif place < size and norms[place].rstrip("s") in _UNITS:
        unit, place = norms[place], place + 1
    months = _UNITS.get(unit.rstrip("s"), 0) if unit else 0
    if (
        count is not None
        and months
        and place < size
        and (norms[place] in _PAST or norms[place : place + 2] == ["on", "it"])
    ):
        days = count * months * 30.44
        return When(at, place + 1, year=date.fromordinal(max(1, saved_on.toordinal() - int(days))).year)
    if norm in _WORDS:
        return None
    if "/" in norm or (norm.count(".") == 2):
        parts = re.split(r"[/.]", norm)
        year = _year(parts[-1] if len(parts[-1]) == 4 else "20" + parts[-1], saved_on)
        return When(at, at + 1, year=year) if year else None
    start = tokens.starts[at]
    if len(norm) == 2 and norm.isdigit() and start and tokens.text[start - 1] in "'’`":
        two = int(norm)
        return When(at, at + 1, year=2000 + two if two <= saved_on.year % 100 + 3 else 1900 + two)
    reading = _reading(norms, at, before, mileage)
    if reading is not None:
        return reading
    year = _year(norm, saved_on)
    if year is not None and before not in ("£", "$", "€"):
        return When(at, at + 1, year=year)
    return None


def _reading(norms: list[str], at: int, before: str, mileage: int | None) -> When | None:
    match = _NUMBER.match(norms[at])
    if match is None or before in ("every", "last", "£", "$", "€"):
        return None
    size = len(norms)
    value = float(re.sub(r"[,.](?=\d{3}\b)", "", match.group(1)))
    suffix = match.group(2)
    end = at + 1
    if suffix in ("k",) and value < 1000:
        value *= 1000
    elif suffix == "m":
        return None
    elif end < size and norms[end] in ("thou", "thousand", "k") and value < 1000:
        value *= 1000
        end += 1
    if suffix is None and value < 1000 and end < size and len(norms[end]) == 3 and norms[end] == "000":
        value, end = value * 1000, end + 1
    named = suffix is not None
    if end < size and norms[end] in _MILES:
        named, end = True, end + 1
    ago = norms[end] if end < size else ""
    if before in ("now", "showing", "currently") or ago in _OTHER_ENGINE:
        return None
    if ago in ("ago", "back", "since", "old") and value >= 100:
        if mileage is None:
            return When(at, end + 1)
        return When(at, end + 1, mileage=max(0, round(mileage - value)))
    if before in ("for", "than", "under", "over", "of", "another", "per"):
        return None
    if before == "in" and mileage is not None and named and value < 30_000:  # "due in 2k"
        return When(at, end, mileage=round(mileage + value))
    told = before in _BEFORE_READING
    if value < 1000:
        if before in ("at", "@", "till", "until") and 20 <= value <= 500 and norms[at].isdigit():
            if end < size and (norms[end] in _MONTHS or norms[end] in _ORDINALS):
                return None
            if end < size and norms[end] in ("mph", "%", "month", "year", "o", "psi", "degree", "rpm", "bar"):
                return None
            return When(at, end, mileage=round(value * 1000))
        return None
    if value > 999_999 or (not named and not told and value < 10_000):
        return None
    if not named and 1900 < value < 2100:
        return None
    return When(at, end, mileage=round(value))


def _year(word: str, saved_on: date) -> int | None:
    if len(word) != 4 or not word.isdigit():
        return None
    value = int(word)
    return value if 1950 <= value <= saved_on.year + 5 else None


def settle(when: When, due: bool, saved_on: date) -> tuple[int | None, int | None]:
    """Odometer reading and year; a month without a year is the last such month, or the next one when due."""
    year = when.year
    if year is None and when.month is not None:
        passed = when.month <= saved_on.month
        year = saved_on.year + (1 if due and passed and when.month != saved_on.month else 0)
        if not due and not passed:
            year -= 1
    if due and year is not None and year < saved_on.year - 1:
        year = None  # how old a part is, not when it is due
    return when.mileage, year
