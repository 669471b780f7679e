"""When a thing was done or is due: years, months, spans of time, odometer readings."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from typing import NamedTuple

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
_SEASONS = {"spring": 4, "summer": 7, "autumn": 10, "fall": 10, "winter": 1, "easter": 4, "lent": 3}
_FEASTS = {
    ("labor", "day"): 9, ("labour", "day"): 9, ("memorial", "day"): 5, ("canada", "day"): 7, ("boxing", "day"): 12,
    ("anzac", "day"): 4, ("australia", "day"): 1, ("new", "year"): 1, ("bank", "holiday"): 5,
}  # fmt: skip
_WORDS = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
    "ten": 10, "eleven": 11, "twelve": 12, "fifteen": 15, "eighteen": 18, "twenty": 20, "thirty": 30, "couple": 2,
    "few": 3, "last": 1,
}  # fmt: skip
_UNITS = {"year": 12.0, "yr": 12.0, "month": 1.0, "mth": 1.0, "mths": 1.0, "week": 0.23, "wk": 0.23, "day": 0.033,
          "summer": 12.0, "winter": 12.0, "season": 12.0}  # fmt: skip
# What stands after a word for a number that begins a time: "two years ago", "a couple of years", "few months old".
_COUNTED = frozenset({*_UNITS, *(f"{unit}s" for unit in _UNITS), "couple", "few", "of"})
_DURING = frozenset({"in", "over", "during", "the", "at", "early", "late", "since", "by", "from"})
_OF_SEASON = {"spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11), "fall": (9, 10, 11)}
_OCCASIONS = frozenset({
    "time", "year", "visit", "week", "day", "month", "occasion", "afternoon", "morning", "weekend", "trip", "go",
    "session", "job", "ticket", "bill", "invoice", "moment", "point", "stop", "spring", "summer", "autumn", "winter",
    "season",
})  # fmt: skip
_WORK = frozenset({"done", "replaced", "changed", "fitted", "renewed", "rebuilt", "welded", "new", "in", "overhauled"})
_NEAR_TIMES = 4  # times among which "same time" is looked for
_THEN = 30  # tokens to the time that "then" and "with it" mean
_OTHER_ENGINE = frozenset({"one", "engine", "motor", "unit", "lump", "box", "gearbox", "donor", "example"})
_BEFORE_READING = frozenset({"at", "@", "by", "around", "about", "circa", "approx", "approximately", "on", "done", ":"})
_BEFORE_THOUSANDS = frozenset({
    "at", "@", "till", "until", "about", "around", "rebuilt", "renewed", "replaced", "overhauled", "again", "due",
    "mean", "means", "service", "changed", "serviced",
})  # fmt: skip
_SAYING = 9  # words before a figure among which the work is told
_FULL = frozenset({".", "\n", ";", ","})
_SPAN = frozenset({"the", "in", "for", "over", "these", "my", "his", "her", "our"})  # "in the last 20k"
_AND = frozenset({"and", "&", ","})
_SHOWN = frozenset({"now", "showing", "currently", "show", "shows", "reads", "reading", "read"})
_OTHER_FIGURE = frozenset({"interval", "rpm", "rev", "mph", "kph", "engine"})
_ENDS = frozenset({",", ".", ";", ")", "\n", "and", "but", "so"})
_NO_READING = frozenset({
    "mph", "kph", "%", "month", "year", "o", "psi", "degree", "rpm", "bar", "hp", "bhp", "ps", "cc", "mm", "nm", "quid",
    "euro", "dollar", "buck", "grand", "litre", "watt", "ah", "w", "per", "/", "off", "day", "week", "hour", "yard",
    "metre", "foot",
})  # fmt: skip
_REGULAR = frozenset({"every", "each", "per"})
_PAST = frozenset({"ago", "back", "old", "since", "before", "earlier", "prior"})
_ORDINALS = frozenset({"st", "nd", "rd", "th", "of"})
_MILES = frozenset({"mile", "k", "km", "kms", "kilometre", "kilometer", "mi", "clicks"})
_YEARLY = _SEASONS.keys() | {"season"}
_WEEK = frozenset({"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"})
_NEAR_NOW = frozenset({"last", "this", "next"})
_BACK = frozenset({"same", "that", "then", "with"})  # begin words that mean the time told last
# A word with which a time can begin; so can any figure.
_OPENS = _NEAR_NOW | _BACK | _WORDS.keys() | _MONTHS.keys() | _SEASONS.keys() | {"yesterday"} | {a for a, _ in _FEASTS}
_COMPACT = re.compile(r"^(\d+)(yrs?|mths?|years?|wks?|m)$")
_NOT_BEFORE = _REGULAR | {"last", "within", "£", "$", "€"}
_SPENT = frozenset({"cost", "paid", "spent", "spend", "pay", "rpm"})
_THOUSANDS = re.compile(r"[,.](?=\d{3}\b)")  # the marks between thousands
_NUMBER = re.compile(r"^(\d{1,3}(?:[,.]\d{3})+|\d+(?:\.\d+)?)(k|km|kms|mi|miles|m|ish|kish)?$")


class When(NamedTuple):
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
    done = 0
    for at in [place for place, norm in enumerate(norms) if norm in _OPENS or norm[0].isdecimal()]:
        if at < done:
            continue
        norm = norms[at]
        if norm in _WORDS and norm != "last" and (at + 1 == size or norms[at + 1] not in _COUNTED):
            continue
        when: When | None = None
        if norm in _NEAR_NOW and at + 1 < size:
            when = _relative(norms, at, saved_on)
        if when is None and (norm[0].isdecimal() or norm in _WORDS):
            when = _number(tokens, at, saved_on, mileage, found)
        elif when is None and norm == "yesterday":
            when = When(at, at + 1, year=date.fromordinal(saved_on.toordinal() - 1).year)
        elif when is None and norm in _MONTHS:
            when = _month(tokens, at, saved_on)
        elif when is None and norm in _SEASONS:
            when = _season(norms, at, saved_on)
        elif when is None and norm in ("same", "that") and found and at + 1 < size and norms[at + 1] in _OCCASIONS:
            when = _same(norms, at, 2, found, saved_on.year)
        elif when is None and found and at - found[-1].end <= _THEN and _means_before(norms, at):
            when = _same(norms, at, 1, found, saved_on.year)
        elif when is None and at + 1 < size and (norm, norms[at + 1]) in _FEASTS and norms[at - 1] not in _REGULAR:
            when = When(at, at + 2, month=_FEASTS[norm, norms[at + 1]])
        if when is not None:
            found.append(when)
            done = when.end
    return found


def _relative(norms: list[str], at: int, saved_on: date) -> When | None:
    word = norms[at + 1]
    last, to_come = norms[at] == "last", norms[at] == "next"
    if word in ("year", "yr", "season"):
        return When(at, at + 2, year=saved_on.year - last + to_come)
    if word in ("past", "coming", "dry", "wet") and norms[at + 2 : at + 3] and norms[at + 2] in _YEARLY:
        one = _relative([norms[at], norms[at + 2]], 0, saved_on)
        return one and one._replace(start=at, end=at + 3)
    if word in _WEEK and not to_come:
        return When(at, at + 2, year=date.fromordinal(saved_on.toordinal() - 7 * last).year)
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
        if norms[at + 2 : at + 4] == ["but", "one"]:
            return When(at, at + 4, year=None if word == "winter" else year - 1)
        return When(at, at + 2, year=year)
    if word in _MONTHS:
        month = _MONTHS[word]
        if norms[at] == "this":
            return When(at, at + 2, month=month)
        year = saved_on.year - (last and month >= saved_on.month) + (to_come and month <= saved_on.month)
        return When(at, at + 2, year=year)
    return None


def _means_before(norms: list[str], at: int) -> bool:
    """ "Done then too", "with it a new clutch": words that stand for the time told last."""
    if norms[at] == "then":
        return at > 0 and norms[at - 1] in _WORK
    begins = at == 0 or norms[at - 1] in ".\n"
    return begins and norms[at : at + 2] == ["with", "it"] and not {"new", "went"}.isdisjoint(norms[at + 2 : at + 5])


def _same(norms: list[str], at: int, words: int, found: list[When], now: int) -> When:
    """ "Same time": the time told last, in both its parts when they stood together."""
    near = found[-_NEAR_TIMES:]
    while len(near) > 1 and near[-1].year is not None and near[-1].year > now:
        near.pop()  # a test that runs out
    last = near[-1]
    mileage, year, month = last.mileage, last.year, last.month
    if len(near) > 1 and last.start - near[-2].end <= 2 and "." not in norms[near[-2].end : last.start]:
        other = near[-2]
        mileage, year, month = mileage or other.mileage, year or other.year, month or other.month
    return When(at, at + words, mileage, year, month)


def _season(norms: list[str], at: int, saved_on: date) -> When | None:
    """ "In the spring", "summer 2019", "winter before last": the word alone may be a coil spring or a fall."""
    size = len(norms)
    before = norms[at - 2] if at > 1 else ""
    place = at + 2 if norms[at + 1 : at + 2] == ["of"] else at + 1
    place += norms[place : place + 1] == ["'"]
    if place < size:
        year = _year(norms[place], saved_on)
        if year is None and len(norms[place]) == 2 and norms[place].isdecimal() and int(norms[place]) > 5:
            year = 2000 + int(norms[place]) if int(norms[place]) <= saved_on.year % 100 else None
        if year is not None:
            return When(at, place + 1, year=year)
    if norms[at + 1 : at + 3] == ["before", "last"]:
        last = _relative(["last", norms[at]], 0, saved_on)
        return When(at, at + 3, year=None if last is None or last.year is None else last.year - 1)
    if norms[at - 2 : at] == ["as", "of"] and at > 1:
        return When(at, at + 1, month=_SEASONS[norms[at]], season=True)
    if not at or norms[at - 1] not in _DURING:
        return None
    if norms[at - 1] == "the" and before not in ("in", "over", "during"):
        return None
    return When(at, at + 1, month=_SEASONS[norms[at]], season=True)


def _month(tokens: Tokens, at: int, saved_on: date) -> When | None:
    norms = tokens.norms
    size = len(norms)
    if at and norms[at - 1] in _REGULAR:
        return None
    if norms[at] == "may" and not tokens.text[tokens.starts[at]].isupper():
        after = norms[at + 1] if at + 1 < size else ""
        if (norms[at - 1] if at else "") not in ("in", "since", "early", "late") and not after.isdecimal():
            return None
    if at + 1 < size:
        place = at + 1 + (norms[at + 1] == ".")
        place += norms[place : place + 1] == ["of"]
        if norms[place : place + 2] in (["last", "year"], ["this", "year"]):
            return When(at, place + 2, year=saved_on.year - (norms[place] == "last"))
        after = norms[place] if place < size else ""
        if after == "last" and place + 1 < size:
            return When(at, place + 1, year=saved_on.year - (_MONTHS[norms[at]] > saved_on.month))
        year = _year(after, saved_on)
        if year is not None:
            return When(at, at + 2, year=year)
        place = at + 1
        if after in ("'", "’", "`") and at + 2 < size:
            place, after = at + 2, norms[at + 2]
        if len(after) == 2 and after.isdecimal() and int(after) <= saved_on.year % 100 + 2 and int(after) > 5:
            start = tokens.starts[place]
            if place == at + 2 or (tokens.text[start - 1] in " '’" and int(after) > 12):
                return When(at, place + 1, year=2000 + int(after))
    return When(at, at + 1, month=_MONTHS[norms[at]])


def _number(tokens: Tokens, at: int, saved_on: date, mileage: int | None, found: list[When]) -> When | None:
    norms = tokens.norms
    norm = norms[at]
    size = len(norms)
    before = norms[at - 1] if at else ""
    if before in _REGULAR:
        return None
    # "two years ago", "18 months old", "couple of years back"
    count = float(_WORDS[norm]) if norm in _WORDS else None
    compact = None if norm[-1].isdecimal() else _COMPACT.match(norm)
    place = at + 1
    if norm in ("a", "last") and place < size and norms[place] in ("couple", "few"):
        count, place = float(_WORDS[norms[place]]), place + 1
    if place < size and norms[place] == "of":
        place += 1
    if norm[0].isdecimal() and norm.isdecimal():
        count = float(norm)
    unit = ""
    if compact and compact.group(2) != "m":
        count, unit, place = float(compact.group(1)), compact.group(2), at + 1
    elif place < size and norms[place].rstrip("s") in _UNITS:
        unit, place = norms[place], place + 1
    months = _UNITS.get(unit.rstrip("s"), 0) if unit else 0
    if count == 1 and months == 12.0 and norms[place : place + 1] and norms[place] in ("left", "in"):
        return When(at, place + 1, year=saved_on.year + 1)
    if (
        count is not None
        and months
        and before not in ("than", "under", "over")
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
    if len(norm) == 2 and norm.isdecimal() and start and tokens.text[start - 1] in "'’`":
        two = int(norm)
        return When(at, at + 1, year=2000 + two if two <= saved_on.year % 100 + 3 else 1900 + two)
    if len(norm) == 2 and before == "in" and norm.isdecimal() and int(norm) >= 50 and at > 1 and norms[at - 2] in _WORK:
        return When(at, at + 1, year=1900 + int(norm))
    ends = at + 1 == size or norms[at + 1] in _ENDS
    if ends and len(norm) == 2 and before == "in" and norm.isdecimal() and 5 < int(norm) <= saved_on.year % 100:
        return When(at, at + 1, year=2000 + int(norm))
    reading = _reading(norms, at, before, mileage, found)
    if reading is not None:
        return reading
    year = _year(norm, saved_on)
    if year is not None and before not in ("£", "$", "€") and norms[at + 1 : at + 2] != ["date"]:
        return _until(tokens, at, year, saved_on)
    return None


def _until(tokens: Tokens, at: int, year: int, saved_on: date) -> When:
    """A year, or the last one of "2012-14"."""
    if at + 1 < len(tokens) and tokens.text[tokens.ends[at] : tokens.starts[at + 1]] in ("-", "–"):
        norm = tokens.norms[at + 1]
        last = int(norm) if norm.isdecimal() and len(norm) in (2, 4) else 0
        last += year // 100 * 100 if len(norm) == 2 else 0
        if year < last <= min(saved_on.year, year + 12):
            return When(at, at + 2, year=last)
    return When(at, at + 1, year=year)


def _reading(norms: list[str], at: int, before: str, mileage: int | None, found: list[When]) -> When | None:
    figure = _figure(norms[at])
    last = before == "last" and mileage is not None and norms[max(0, at - 2)] not in _SPAN
    if figure is None or (before in _NOT_BEFORE and not last) or not _SPENT.isdisjoint(norms[max(0, at - 3) : at]):
        return None
    size = len(norms)
    value, suffix = figure
    end = at + 1
    if suffix == "k" and value < 1000:
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
    clock = ago == "showing" or norms[end : end + 3] == ["on", "the", "clock"]
    if value < 1000 and before == "with" and clock and mileage and 20 <= value <= mileage / 1000:
        return When(at, end + 1, mileage=round(value * 1000))
    if before in _SHOWN or ago in _OTHER_ENGINE or ago in _OTHER_FIGURE:
        return None
    if before == "a" and norms[end - 1] == "mile":
        return None  # "a 90,000 mile engine"
    if ago in ("ago", "back", "since", "old") and value >= 100:
        if mileage is None:
            return When(at, end + 1)
        return When(at, end + 1, mileage=max(0, round(mileage - value)))
    if before in ("for", "than", "under", "over", "of", "another"):
        return None
    if ago in ("on", "from") and norms[end + 1 : end + 2] and norms[end + 1] in ("it", "them", "the", "this", "that"):
        return None  # "a rebuilt box with 40k on it": what it has done since
    if before == "in" and mileage is not None and named and value < 30_000:  # "due in 2k"
        return When(at, end, mileage=round(mileage + value))
    if ago == "service" and mileage is not None and 4 * value < mileage and value < 20_000:
        return None  # "10k services", again and again
    if last and mileage is not None and value >= 1000 and not 0.5 <= value / mileage <= 1.02:
        return None
    told = before in _BEFORE_READING or last
    if value < 1000:
        beside = before in _AND and bool(found) and found[-1].end == at - 1 and found[-1].mileage is not None
        roughly = norms[at].endswith("ish") and value >= 60
        thousands = norms[at].isdecimal() and (beside or before in _BEFORE_THOUSANDS or last)
        if not thousands and norms[at].isdecimal() and _closes(norms, at, end) and mileage is not None:
            thousands = 0.3 <= value * 1000 / mileage <= 1.0
        if not (thousands or roughly) or not 20 <= value <= 500:
            return None
        if end < size and (norms[end] in _MONTHS or norms[end] in _ORDINALS or norms[end] in _NO_READING):
            return None
        if before not in ("at", "@", "till", "until") and (mileage is None or not 0.2 <= value * 1000 / mileage <= 1.3):
            return None
        return When(at, end, mileage=round(value * 1000))
    if value > 999_999 or (not named and not told and value < 10_000):
        return None
    if not named and 1900 < value < 2100:
        return None
    return When(at, end, mileage=round(value))


def _closes(norms: list[str], at: int, end: int) -> bool:
    """Whether a figure ends what tells of work: "pan dropped, 160", "pump changed (125)", "last oil 98"."""
    before = norms[at - 1] if at else ""
    after = norms[end] if end < len(norms) else "."
    said = norms[max(0, at - _SAYING) : at]
    if before == "(":
        return after == ")" and not _WORK.isdisjoint(said)
    if after not in _FULL:
        return False
    return "last" in said[-4:] or (before == "," and not _WORK.isdisjoint(said))


@lru_cache(maxsize=4_000)
def _figure(norm: str) -> tuple[float, str | None] | None:
    """A number in figures and the unit that is written with it: "78,000", "86k"."""
    match = _NUMBER.match(norm)
    if match is None:
        return None
    return float(_THOUSANDS.sub("", match.group(1))), (match.group(2) or "").removesuffix("ish") or None


def _year(word: str, saved_on: date) -> int | None:
    if len(word) != 4 or not word.isdecimal():
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
