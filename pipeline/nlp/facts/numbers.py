"""Finds every number of an advert with its money sign, `k` and unit: "£2,450", "93.500 km", "1600$", "6 grand"."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

_CODES = r"gbp|usd|cad|aud|nzd|eur|chf|zar|sek|nok|dkk|isk|czk|pln|huf|inr|jpy"
_NUMBER = re.compile(
    r"(?<![\w])(?:(?P<before>(?:us|a|au|ca|c|nz|can)\$|[£€$]"
    r"|r(?=\s?\d{1,3}(?:[ ,.\u00a0]\d{3})+|\d{5,6}(?!\d)|\d{2,3}k(?!\w))"
    r"|(?:" + _CODES + r"|kr)(?![a-z]))[ \u00a0]?)?"
    r"(?<![\d.,/:-])"
    r"(?P<number>\d{1,3}(?:,\d{3})++(?:\.\d{1,2})?|\d{1,3}(?:\.\d{3})++(?:,\d{1,2})?|\d{1,3}(?:['’]\d{3})++"
    r"|\d{1,3}(?:[ \u00a0\u202f]\d{3})++(?!(?<!000)[ ]?k(?![\w'’]))"
    r"|\d{1,3}[,.]?(?:\d{2}x|\dxx|xxx)|\d{1,9}(?:[.,]\d{1,3})?)"
    r"(?![\d])(?P<dash>[.,][-–—]{1,2})?"
    r"(?P<times>[ ]?k(?!\w|['’]s)|[ -]?(?:thousand|thou|grand|tsd|ths)(?!\w)|k(?=mi|km))?"
    r"(?:[ \u00a0]?(?P<after>[€£$](?! ?\d)|euros?(?![a-z])|(?:" + _CODES + r"|quid|pounds?|dollars?|bucks|kr|kč|zł|sek"
    r"|rand)(?![a-z]))"
    r"|[ \u00a0-]?(?P<unit>miles?(?![a-z])|mls?(?![a-z])|mi(?![a-z])|kms?(?![a-z])|k'?s(?![a-z])|k ?ms(?![a-z])"
    r"|kilomet(?:er|re)s?(?![a-z])|clicks(?![a-z])))?"
)  # fmt: skip
_DOLLARS = ("usd", "cad", "aud", "nzd")
_DIGIT = re.compile(r"\d")
_LEAD = 5  # characters of a sign before the digits
_MILES = ("mi", "ml")
_ONES = {"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9}
_TEENS = {
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16,
    "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
_TENS = {
    "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}  # fmt: skip
_WORD_VALUES = {**_ONES, **_TEENS, **_TENS}
_WORDS = re.compile(
    r"(?<![\w-])(?:(?P<hundreds>a|" + "|".join(_ONES) + r") hundred(?: and)? ?)?"
    r"(?P<tens>" + "|".join(_TENS) + r")?[ -]?"
    r"(?P<ones>"
    + "|".join([*_ONES, *_TEENS])
    + r")?[ -]thousand(?!\w)(?: (?P<unit>miles?|km|kms|kilomet(?:er|re)s?)(?!\w))?"
)


@dataclass(frozen=True, slots=True)
class Number:
    """A number at text[start:end], sign and unit included; digits alone at text[first:last]."""

    start: int
    end: int
    first: int
    last: int
    value: float
    money: str | None  # the sign or word as printed, lower case
    unit: str | None  # "mi", "km" or None
    thousands: bool  # "k", "grand", "thousand"
    grouped: bool  # written in groups of three, or with x for the last digits
    decimals: int  # digits after the decimal point
    digits: str


def find_numbers(low: str, limit: int = 600) -> list[Number]:
    """Numbers of a lower-case text in order; of a flood only the first and last `limit` / 2."""
    found = _in_figures(low, limit)
    if "thousand" in low:
        found = sorted([*found, *_in_words(low, limit)], key=lambda number: number.start)
    return found


def _in_words(low: str, limit: int) -> list[Number]:
    """Thousands in words: "sixty-three thousand", "a hundred and ten thousand miles"."""
    found: list[Number] = []
    for match in _WORDS.finditer(low):
        value = 100 * _ONES.get(match["hundreds"], 1) if match["hundreds"] else 0
        for name in ("tens", "ones"):
            value += _WORD_VALUES.get(match[name] or "", 0)
        if value and len(found) < limit:
            unit = match["unit"]
            kind = None if unit is None else "mi" if unit.startswith(_MILES) else "km"
            found.append(
                Number(match.start(), match.end(), match.start(), match.end(), value * 1000.0, None, kind, True, False,
                       0, match.group())
            )  # fmt: skip
    return found


def _in_figures(low: str, limit: int) -> list[Number]:
    found: list[Number] = []
    tail: list[Number] = []
    for match in _figures(low):
        number = _read(match)
        if len(found) < limit // 2:
            found.append(number)
        else:
            tail.append(number)
            if len(tail) > limit:
                del tail[: limit // 2]
    return found + tail[-(limit // 2) :]


def _figures(low: str) -> Iterator[re.Match[str]]:
    """Matches as `finditer` gives them; a text without digits ahead is not walked through."""
    done = 0
    while (digit := _DIGIT.search(low, done)) is not None:
        match = _NUMBER.search(low, max(done, digit.start() - _LEAD))
        if match is None:
            return
        yield match
        done = match.end()


def _read(match: re.Match[str]) -> Number:
    digits = match["number"]
    value, grouped, decimals = _value(digits)
    times = match["times"]
    if times and grouped and value >= 1000:
        times = None  # "186,000k" says its thousands twice
    if times:
        value *= 1000
    unit = match["unit"]
    kind = None if unit is None else "mi" if unit.startswith(_MILES) else "km"
    money = match["before"] or match["after"]
    if money == "$" and match["after"] in _DOLLARS:  # "$9,500 CAD"
        money = match["after"]
    return Number(
        match.start(), match.end(), match.start("number"), match.end("number"), value, money, kind,
        bool(times), grouped, decimals, digits,
    )  # fmt: skip


def _value(digits: str) -> tuple[float, bool, int]:
    if digits.isdecimal():
        return float(digits), False, 0
    if "x" in digits:
        return float(re.sub(r"[,.]", "", digits).replace("x", "0")), True, 0
    if re.fullmatch(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?", digits):
        whole, _, rest = digits.partition(".")
        return float(whole.replace(",", "") + "." + (rest or "0")), True, len(rest)
    if re.fullmatch(r"\d{1,3}(?:\.\d{3})+(?:,\d+)?", digits):
        whole, _, rest = digits.partition(",")
        return float(whole.replace(".", "") + "." + (rest or "0")), True, len(rest)
    if re.fullmatch(r"\d{1,3}(?:['’ \u00a0\u202f]\d{3})+", digits):
        return float(re.sub(r"\D", "", digits)), True, 0
    whole, sign, rest = digits.replace(",", ".").partition(".")
    return float(f"{whole}{sign}{rest or ''}" if sign else whole), False, len(rest)
