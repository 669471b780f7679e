"""Finds every number of an advert with its money sign, `k` and unit: "£2,450", "93.500 km", "1600$", "6 grand"."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

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
    r"(?P<times>[ ]?k(?!\w|['’]s)|[ ]?t(?=km)|[ -]?(?:odd )?(?:thousand|thou|grand|tsd|ths)(?!\w)|k(?=mi|km))?"
    r"(?:[ \u00a0]?(?P<after>[€£$](?! ?\d)|euros?(?![a-z])|(?:" + _CODES + r"|quid|pounds?|dollars?|bucks|kr|kč|zł|sek"
    r"|rand)(?![a-z]))"
    r"|[ \u00a0-]?(?P<unit>miles?(?![a-z])|mls?(?![a-z])|mi(?![a-z])|kms?(?![a-z])|k'?s(?![a-z])|k ?ms(?![a-z])"
    r"|kilomet(?:er|re)s?(?![a-z])|clicks(?![a-z])))?"
)  # fmt: skip
_BY_COMMA = re.compile(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?")
_BY_POINT = re.compile(r"\d{1,3}(?:\.\d{3})+(?:,\d+)?")
_BY_SPACE = re.compile(r"\d{1,3}(?:['’ \u00a0\u202f]\d{3})+")
_SHORTEST_GROUPED = 5  # "1,234"
_DOLLARS = ("usd", "cad", "aud", "nzd")
_DIGITS = re.compile(r"\d+")
_LEAD = 5  # characters of a sign before the digits
_SIGN_ENDS = frozenset("£€$dfknpry")  # the last of every sign that may stand before the digits
_WHOLE_SIGNS = "£€"  # nothing of the sign stands before these
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
    + r")?(?P<half> and a half)?[ -](?P<times>thousand|grand|hundred(?! and|[ -]?(?:"
    + "|".join(_WORD_VALUES)
    + r")(?!\w)))(?!\w)"
    r"(?: (?P<unit>miles?|km|kms|kilomet(?:er|re)s?)(?!\w))?"
)
_MIXED = re.compile(
    r"(?<![\w.,£€$])(?P<n>\d{1,2})(?P<half> and a half)? (?P<times>thousand|grand|hundred)(?!\w)"
    r"(?: (?P<unit>miles?|km|kms)(?!\w))?"
)
_TIMES = re.compile(r"thousand|grand|hundred")
_WORDS_REACH = 45  # characters of the words before and after one of them


class Number(NamedTuple):
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


def digits_of(low: str) -> list[tuple[int, int]]:
    """Where every run of digits begins and ends."""
    return [match.span() for match in _DIGITS.finditer(low)]


def find_numbers(low: str, runs: Sequence[tuple[int, int]], limit: int = 600) -> list[Number]:
    """Numbers of a lower-case text, given its runs of digits, in order; of a flood the first and last `limit` / 2."""
    found = _in_figures(low, runs, limit)
    if "thousand" in low or "grand" in low or "hundred" in low:
        found = sorted([*found, *_in_words(low, limit)], key=lambda number: number.start)
    return found


def _in_words(low: str, limit: int) -> list[Number]:
    """Sums in words: "sixty-three thousand", "a hundred and ten thousand miles", "two and a half grand"."""
    found: list[Number] = []
    done = 0
    for times in _TIMES.finditer(low):
        if times.start() < done:
            continue
        for pattern in (_MIXED, _WORDS):
            match = pattern.search(low, max(done, times.start() - _WORDS_REACH), times.end() + _WORDS_REACH)
            value = _said(match) if match is not None else 0.0
            if match is not None and value and len(found) < limit:
                unit = match["unit"]
                kind = None if unit is None else "mi" if unit.startswith(_MILES) else "km"
                last = match.start("times") if match["times"] == "grand" else match.end()
                found.append(
                    Number(match.start(), match.end(), match.start(), last, value, None, kind, True, False, 0,
                           match.group())
                )  # fmt: skip
                done = match.end()
                break
    return found


def _said(match: re.Match[str]) -> float:
    """The number of a match in words; of hundreds only those that nobody says in thousands: "twenty-eight hundred"."""
    value = 0.0
    if match.re is _MIXED:
        value = float(match["n"])
    else:
        value += 100 * _ONES.get(match["hundreds"], 1) if match["hundreds"] else 0
        for name in ("tens", "ones"):
            value += _WORD_VALUES.get(match[name] or "", 0)
    if match["times"] == "hundred":
        return 0.0 if value < 11 or value % 10 == 0 or match["half"] else value * 100
    if match.re is _MIXED and not match["half"]:
        return 0.0  # read as figures
    return (value + (0.5 if match["half"] and value else 0.0)) * 1000


def _in_figures(low: str, runs: Sequence[tuple[int, int]], limit: int) -> list[Number]:
    found: list[Number] = []
    tail: list[Number] = []
    for match in _figures(low, runs):
        number = _read(match)
        if len(found) < limit // 2:
            found.append(number)
        else:
            tail.append(number)
            if len(tail) > limit:
                del tail[: limit // 2]
    return found + tail[-(limit // 2) :]


def _figures(low: str, runs: Sequence[tuple[int, int]]) -> Iterator[re.Match[str]]:
    """Matches as `finditer` gives them, looked for where a run of digits begins and at the signs before it."""
    done = 0
    for digit, _ in runs:
        if digit < done:
            continue
        at = digit - 2 if digit and low[digit - 1] in " \u00a0" else digit - 1
        sign = low[at] if at >= 0 else ""
        first = digit if sign not in _SIGN_ENDS else at if sign in _WHOLE_SIGNS else digit - _LEAD
        for start in range(max(done, first), digit + 1):
            match = _NUMBER.match(low, start)
            if match is not None:
                yield match
                done = match.end()
                break


def _read(match: re.Match[str]) -> Number:
    before, digits, _, times, after, unit = match.groups()
    value, grouped, decimals = _value(digits)
    if times and grouped and value >= 1000:
        times = None  # "186,000k" says its thousands twice
    if times:
        value *= 1000
    kind = None if unit is None else "mi" if unit.startswith(_MILES) else "km"
    money = before or after
    if money == "$" and after in _DOLLARS:  # "$9,500 CAD"
        money = after
    return Number(*match.span(), *match.span("number"), value, money, kind, bool(times), grouped, decimals, digits)


def _value(digits: str) -> tuple[float, bool, int]:
    if digits.isdecimal():
        return float(digits), False, 0
    if "x" in digits:
        return float(re.sub(r"[,.]", "", digits).replace("x", "0")), True, 0
    if len(digits) >= _SHORTEST_GROUPED:
        if _BY_COMMA.fullmatch(digits):
            whole, _, rest = digits.partition(".")
            return float(whole.replace(",", "") + "." + (rest or "0")), True, len(rest)
        if _BY_POINT.fullmatch(digits):
            whole, _, rest = digits.partition(",")
            return float(whole.replace(".", "") + "." + (rest or "0")), True, len(rest)
        if _BY_SPACE.fullmatch(digits):
            return float(re.sub(r"\D", "", digits)), True, 0
    whole, sign, rest = digits.replace(",", ".").partition(".")
    return float(f"{whole}{sign}{rest or ''}" if sign else whole), False, len(rest)
