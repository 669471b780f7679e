"""One advert as the fact readers share it: lower-case text, numbers, masked spans and the vote on its country."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from pipeline.nlp.facts.anchors import Lookup, Words, stands
from pipeline.nlp.facts.around import Around
from pipeline.nlp.facts.numbers import Number, digits_of, find_numbers
from pipeline.paths import data_folder
from pipeline.places import gazetteer, name_key
from pipeline.schemas.facts import Countries, Country, Value, load_countries

PLACES = ("GB", "IE", "US", "CA", "AU", "NZ", "ZA")  # countries whose adverts leave out signs or share "$"
UNSURE = 2.0  # points between the two likeliest countries below which places are asked: loading them takes seconds
REACH = 70  # characters looked at on either side of a number
# A stop of two signs or between spaces is told by what stands before its last sign: a pattern that begins with a set
# of signs is looked for many times faster.
_STOP = re.compile(r"[.!?;\n•|/–—*·-](?:(?<=[.!?;\n•|])|(?<=/)/|(?<= [-–—*·]) )")
_ABBREVIATED = ("reg", "approx", "prev")
_SHORTENED = re.compile(r"\b(?:reg|approx|prev)$")
_MANY_DIGITS = re.compile(r"\d[\d .()-]{5}")  # every telephone number holds such a stretch
_CAPITALS = re.compile(r"[A-Z](?<!\w.)[A-Z]{1,3}(?!\w)")  # words of two to four; told backwards, since sought faster so
_PIECE = re.compile(r"[.,;:/()|!?\n\u2013\u2014]| - | and | near | in | from ")
_PHONES = re.compile(
    r"(?<![\w.,-])(?:\+\d{1,3}[ .-]?(?:\(0\))?\d[\d .-]{6,13}\d|0\d{2,4}[ -]?\d{3}[ -]?\d{3,4}(?!\d)"
    r"|0\d{3,4}[ -]?\d{5,7}(?!\d)"
    r"|0\d(?:[ .]\d{2}){4}(?!\d)|0\d[ -]?\d{3,4}[ -]\d{3,4}(?!\d)|\(?\d{3}\)?[.-]\d{3}[.-]\d{4}(?!\d)"
    r"|\(\d{3}\) ?\d{3}[- ]\d{4}(?!\d)|\d{3}-\d{4}(?!\d))"
)
_LINKS = re.compile(r"(?:https?://|www\.)\S{1,400}|[\w.+-]{1,64}@[\w-]{1,64}\.[\w.]{2,20}")
_CALLED = re.compile(r"(?<=[.:# ])\d[\d ]{5,14}")
_CALL = re.compile(
    r"(?:phone|tel|telephone|ring|call|text|txt|mobile|mob|message|fax|ref|vat no|lmd|lic|dealer no|id)[.:# ]{1,3}$"
)
_CALL_REACH = 12  # characters of the longest of them with its signs


@lru_cache(maxsize=1)
def countries() -> Countries:
    return load_countries(data_folder("rules"))


@lru_cache(maxsize=1)
def _by_id() -> dict[str, Country]:
    return {country.id: country for country in countries().countries}


@lru_cache(maxsize=1)
def _country_words() -> Lookup[tuple[tuple[str, float], ...]]:
    """Phrases under the points that they give to countries."""
    points: dict[str, tuple[tuple[str, float], ...]] = {}
    for country in countries().countries:
        for weight, texts in country.words.items():
            for text in texts:
                points[text] = (*points.get(text, ()), (country.id, weight))
    return Lookup((given, text) for text, given in points.items())


@lru_cache(maxsize=1)
def _capitals() -> frozenset[str]:
    return frozenset(word for country in countries().countries for word in country.capitals)


@dataclass(slots=True)
class Scene:
    """A text with what all readers of facts need of it. All offsets are those of `text`."""

    text: str
    saved_on: date
    low: str
    words: Words
    runs: list[tuple[int, int]]  # where a run of digits begins and ends
    sized: dict[int, list[tuple[int, int]]]  # the same by their lengths
    numbers: list[Number]
    country: Country
    votes: dict[str, float]
    masked: list[tuple[int, int]] = field(default_factory=list)
    stops: list[tuple[int, int, bool]] = field(default_factory=list)  # end, start of a sentence's end, if it is sure
    arounds: dict[tuple[int, int], Around] = field(default_factory=dict)
    live: dict[str, list[tuple[Value, str]]] = field(default_factory=dict)  # phrases it may hold, by their file

    @classmethod
    def of(cls, text: str, saved_on: date) -> Scene:
        low = lower(text)
        runs = digits_of(low)
        words = Words(low, runs)
        numbers = find_numbers(low, runs)
        country, votes = vote(text, low, words, numbers)
        sized: dict[int, list[tuple[int, int]]] = {}
        for run in runs:
            sized.setdefault(run[1] - run[0], []).append(run)
        scene = cls(text, saved_on, low, words, runs, sized, numbers, country, votes, _masked(low, runs), _stops(low))
        if scene.masked:
            scene.numbers = [number for number in numbers if not scene.hidden(number.first, number.last)]
        return scene

    def hidden(self, start: int, end: int) -> bool:
        """Whether a span lies in a telephone number, a link or an address."""
        if not self.masked:
            return False
        at = bisect_left(self.masked, (start + 1, 0))
        return any(first < end and start < last for first, last in self.masked[max(0, at - 2) : at + 1])

    def clause_before(self, start: int, reach: int = REACH) -> str:
        """The sentence up to `start`, at most `reach` characters of it."""
        return self.low[self._clause_start(start, reach) : start]

    def clause_after(self, end: int, reach: int = REACH) -> str:
        """The sentence from `end`, at most `reach` characters of it."""
        return self.low[end : self._clause_end(end, reach)]

    def _clause_start(self, start: int, reach: int) -> int:
        first = max(0, start - reach)
        at = bisect_left(self.stops, (start + 1,)) - 1
        while at >= 0:
            end, begin, sure = self.stops[at]
            if begin < first:
                break
            if sure or end == start:
                return end
            at -= 1
        return first

    def _clause_end(self, end: int, reach: int) -> int:
        last = min(end + reach, len(self.low))
        for at in range(bisect_left(self.stops, (end + 1,)), len(self.stops)):
            stop, begin, sure = self.stops[at]
            if stop > last:
                break
            if begin >= end and (sure or stop == last):
                return begin
        return last

    def led(
        self, pattern: re.Pattern[str], shortest: int, longest: int, before: int | None = None
    ) -> Iterator[re.Match[str]]:
        """Matches of a pattern that begins with a whole run of digits, of `shortest` to `longest` of them.

        With `before` only those that begin there.
        """
        done = 0
        runs = self.runs if shortest < longest else self.sized.get(shortest, ())
        for start, end in runs:
            if before is not None and start >= before:
                break
            if shortest <= end - start <= longest and start >= done:
                match = pattern.match(self.low, start)
                if match is not None:
                    yield match
                    done = match.end()

    def around(self, start: int, end: int) -> Around:
        """What stands before and after a span, for its cues. Kept: a number may be a price, a year or a distance."""
        found = self.arounds.get((start, end))
        if found is None:
            first, last = self._clause_start(start, REACH), self._clause_end(end, REACH)
            found = self.arounds[start, end] = Around(self.words, first, start, end, last)
        return found


def _stops(low: str) -> list[tuple[int, int, bool]]:
    """Ends and starts of what ends a sentence; not sure where no white space follows ("1.5")."""
    found = []
    done, size = 0, len(low)
    for match in _STOP.finditer(low):
        start, end = match.span()
        sure = True
        if end - start == 2:
            if low[start] != "/":
                start -= 1  # the space before a dash
                if start < done:  # is that behind another
                    continue
        elif low[start] != "\n":
            if low.endswith(_ABBREVIATED, 0, start) and _SHORTENED.search(low, max(0, start - 7), start):
                continue
            sure = end == size or low[end].isspace()
        found.append((end, start, sure))
        done = end
    return found


def _masked(low: str, runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Telephone numbers, links and addresses, in whose digits no fact is read."""
    found: list[tuple[int, int]] = []
    for start, _ in runs:
        if _MANY_DIGITS.match(low, start):
            found += _telephones(low, runs)
            break
    if "http" in low or "www." in low or "@" in low:
        found += [match.span() for match in _LINKS.finditer(low)]
    found.sort()
    return found


def _telephones(low: str, runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Telephone numbers by their shape, and by the word before them."""
    found: list[tuple[int, int]] = []
    done = done_called = 0
    for digit, _ in runs:
        opened = digit > done and low[digit - 1] in "(+"
        if digit >= done and (match := (opened and _PHONES.match(low, digit - 1)) or _PHONES.match(low, digit)):
            found.append(match.span())
            done = match.end()
        if (
            digit >= done_called
            and (match := _CALLED.match(low, digit))
            and _CALL.search(low, max(0, digit - _CALL_REACH), digit)
        ):
            found.append(match.span())
            done_called = match.end()
    return found


def lower(text: str) -> str:
    """Lower case without a change of length (some capitals lower to two characters)."""
    low = text.lower()
    return low if len(low) == len(text) else "".join(c if len(c.lower()) != 1 else c.lower() for c in text)


def vote(text: str, low: str, words: Words, numbers: list[Number]) -> tuple[Country, dict[str, float]]:
    """The country whose words the text holds, and every country's score.

    Money signs vote too: whoever prints `$` does not advertise in a country without dollars.
    """
    rules = countries()
    capitals = _capitals().intersection(_CAPITALS.findall(text)) if not text.isupper() else frozenset()
    signs = {number.money for number in numbers if number.money}
    dollar = any("$" in sign or sign in ("dollar", "dollars", "bucks") for sign in signs)
    codes = {rules.currencies[sign] for sign in signs if sign in rules.currencies}
    units = [number.unit for number in numbers if number.unit and number.value >= 10_000]
    told: dict[str, float] = {}
    for given, phrase in _country_words().live(words):
        if stands(phrase, words):
            for country_id, weight in given:
                told[country_id] = told.get(country_id, 0.0) + weight
    signed = frozenset(codes), dollar, units[0] if units else None
    votes = _by_signs(*signed).copy()
    for country in rules.countries if capitals else map(_by_id().__getitem__, told):
        votes[country.id] = _score(country, told.get(country.id, 0.0), capitals, *signed)
    ranked = sorted(votes.values(), reverse=True)
    plain = dollar or not signs  # only then does the country decide the currency
    if plain and ranked[0] - ranked[1] < UNSURE:
        for country_id, points in by_place(text).items():
            if country_id in votes:
                votes[country_id] += points
    return _by_id()[max(votes, key=votes.__getitem__)], votes


@lru_cache(maxsize=256)
def _by_signs(codes: frozenset[str], dollar: bool, unit: str | None) -> dict[str, float]:
    """Every country's score where no words vote."""
    return {country.id: _score(country, 0.0, frozenset(), codes, dollar, unit) for country in countries().countries}


def _score(
    country: Country, told: float, capitals: frozenset[str], codes: frozenset[str], dollar: bool, unit: str | None
) -> float:
    score = country.prior + told
    if capitals and country.capitals:
        score += 1.5 * min(2, len(capitals.intersection(country.capitals)))
    if country.currency in codes:
        score += 4
    elif codes or (dollar and not country.dollar):
        score -= 4
    if dollar and country.dollar:
        score += 2
    if unit is not None:
        score += 1.5 if country.unit == unit else country.other_unit
    return score


def by_place(text: str) -> dict[str, float]:
    """Points of countries whose places the advert names where adverts name them: at its end and its beginning.

    Who begins names with a capital writes those of places so.
    """
    pieces = [piece.strip(" *\"'!?") for piece in _PIECE.split(text[-400:])][-8:]
    pieces += [piece.strip() for piece in _PIECE.split(text[:120])][:3]
    capital = any(piece[:1].isupper() for piece in pieces)
    names: dict[str, None] = {}
    known = gazetteer(PLACES)
    for piece in pieces:
        words = [word for word in piece.split() if not any(sign.isdigit() for sign in word)][:6]
        for name in (" ".join(words), " ".join(words[-2:]), " ".join(words[-1:]), " ".join(words[:1])):
            if len(name) >= 4 and (not capital or name[0].isupper()) and (key := name_key(name)) in known:
                names[key] = None
                break
    points: dict[str, float] = {}
    for name in names:
        found = [place.country.lower() for place in known[name]]
        for country in set(found):
            points[country] = points.get(country, 0.0) + (
                2.0 if len(set(found)) == 1 else 1.0 if country == found[0] else 0.5
            )
    return points
