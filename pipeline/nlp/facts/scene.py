"""One advert as the fact readers share it: lower-case text, numbers, masked spans and the vote on its country."""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from pipeline.nlp.facts.numbers import Number, find_numbers
from pipeline.nlp.facts.phrases import any_of, ending, phrase, starting, words_of
from pipeline.paths import data_folder
from pipeline.places import gazetteer, name_key
from pipeline.schemas.facts import Countries, Country, Cue, load_countries

PLACES = ("GB", "IE", "US", "CA", "AU", "NZ", "ZA")  # countries whose adverts leave out signs or share "$"
UNSURE = 2.0  # points between the two likeliest countries below which places are asked: loading them takes seconds
REACH = 70  # characters looked at on either side of a number
_STOP = re.compile(r"(?<!\breg)(?<!\bapprox)(?<!\bprev)[.!?;\n•|](?=\s|$)|\n|//| [-–—*·] ")
_PIECE = re.compile(r"[.,;:/()|!?\n\u2013\u2014]| - | and | near | in | from ")
_COMMA = re.compile(r"[,;:()\n]|\.(?=\s)| [-–—] ")
_PHONES = re.compile(
    r"(?<![\w.,-])(?:\+\d{1,3}[ .-]?(?:\(0\))?\d[\d .-]{6,13}\d|0\d{2,4}[ -]?\d{3}[ -]?\d{3,4}(?!\d)"
    r"|0\d{3,4}[ -]?\d{5,7}(?!\d)"
    r"|0\d(?:[ .]\d{2}){4}(?!\d)|0\d[ -]?\d{3,4}[ -]\d{3,4}(?!\d)|\(?\d{3}\)?[.-]\d{3}[.-]\d{4}(?!\d)"
    r"|\(\d{3}\) ?\d{3}[- ]\d{4}(?!\d)|\d{3}-\d{4}(?!\d))"
)
_LINKS = re.compile(r"(?:https?://|www\.)\S{1,400}|[\w.+-]{1,64}@[\w-]{1,64}\.[\w.]{2,20}")
_CALL = re.compile(
    r"(?:phone|tel|telephone|ring|call|text|txt|mobile|mob|whatsapp|fax|ref|vat no|lmd|lic|dealer no"
    r"|id)[.:# ]{1,3}([\d][\d ]{5,14})"
)


@lru_cache(maxsize=1)
def countries() -> Countries:
    return load_countries(data_folder("rules"))


@dataclass(slots=True)
class Scene:
    """A text with what all readers of facts need of it. All offsets are those of `text`."""

    text: str
    saved_on: date
    low: str
    words: frozenset[str]
    numbers: list[Number]
    country: Country
    votes: dict[str, float]
    masked: list[tuple[int, int]] = field(default_factory=list)

    @classmethod
    def of(cls, text: str, saved_on: date) -> Scene:
        low = lower(text)
        words = words_of(low)
        masked = [match.span() for pattern in (_PHONES, _LINKS) for match in pattern.finditer(low)]
        masked += [match.span(1) for match in _CALL.finditer(low)]
        numbers = find_numbers(low)
        country, votes = vote(text, low, words, numbers)
        scene = cls(text, saved_on, low, words, [], country, votes, sorted(masked))
        scene.numbers = [number for number in numbers if not scene.hidden(number.first, number.last)]
        return scene

    def hidden(self, start: int, end: int) -> bool:
        """Whether a span lies in a telephone number, a link or an address."""
        at = bisect_left(self.masked, (start + 1, 0))
        return any(first < end and start < last for first, last in self.masked[max(0, at - 2) : at + 1])

    def clause_before(self, start: int, reach: int = REACH) -> str:
        """The sentence up to `start`, at most `reach` characters of it."""
        window = self.low[max(0, start - reach) : start]
        cut = [match.end() for match in _STOP.finditer(window)]
        return window[cut[-1] :] if cut else window

    def clause_after(self, end: int, reach: int = REACH) -> str:
        """The sentence from `end`, at most `reach` characters of it."""
        window = self.low[end : end + reach]
        cut = _STOP.search(window)
        return window[: cut.start()] if cut else window

    def sums(self, cues: tuple[Cue, ...], start: int, end: int) -> tuple[float, tuple[str, ...]]:
        """Weights of the cues around a span, added up, and the ids of those that matched."""
        before, after = self.clause_before(start), self.clause_after(end)
        commas = [match.end() for match in _COMMA.finditer(before)]
        # a colon right before the number still belongs to it: "price: 900"
        near = [at for at in commas if before[at:].strip(" :") or before[at - 1] != ":"]
        phrase_before = before[near[-1] :] if near else before
        cut = _COMMA.search(after)
        phrase_after = after[: cut.start()] if cut else after
        wide_before, wide_after = self.low[max(0, start - 45) : start], self.low[end : end + 45]
        total, ids = 0.0, []
        for cue in cues:
            beside = cue.near in ("touch", "listed", "beyond")
            if cue.side == "before":
                stretch = {
                    "touch": before[-45:],
                    "listed": before[-45:],
                    "beyond": wide_before,
                    "phrase": phrase_before,
                }.get(cue.near, before)
                hit = ending(cue.words).search(stretch) if beside else any_of(cue.words).search(stretch)
            else:
                stretch = {"touch": after[:45], "listed": after[:45], "beyond": wide_after, "phrase": phrase_after}.get(
                    cue.near, after
                )
                hit = (
                    starting(cue.words, cue.near != "touch").match(stretch)
                    if beside
                    else any_of(cue.words).search(stretch)
                )
            if hit:
                total += cue.weight
                ids.append(cue.id)
        return total, tuple(ids)


def lower(text: str) -> str:
    """Lower case without a change of length (some capitals lower to two characters)."""
    low = text.lower()
    return low if len(low) == len(text) else "".join(c if len(c.lower()) != 1 else c.lower() for c in text)


def vote(text: str, low: str, words: frozenset[str], numbers: list[Number]) -> tuple[Country, dict[str, float]]:
    """The country whose words the text holds, and every country's score.

    Money signs vote too: whoever prints `$` does not advertise in a country without dollars.
    """
    rules = countries()
    capitals = set(re.findall(r"(?<![\w])[A-Z]{2,4}(?![\w])", text)) if not text.isupper() else set()
    signs = {number.money for number in numbers if number.money}
    dollar = any("$" in sign or sign in ("dollar", "dollars", "bucks") for sign in signs)
    votes: dict[str, float] = {}
    for country in rules.countries:
        score = country.prior
        for weight, phrases in country.words.items():
            score += weight * sum(
                1
                for made in map(phrase, phrases)
                if (not made.anchors or made.anchors & words) and made.pattern.search(low)
            )
        score += 1.5 * min(2, sum(1 for word in country.capitals if word in capitals))
        codes = {rules.currencies.get(sign) for sign in signs}
        if country.currency in codes:
            score += 4
        elif codes - {None} or (dollar and not country.dollar):
            score -= 4
        if dollar and country.dollar:
            score += 2
        units = [number.unit for number in numbers if number.unit and number.value >= 10_000]
        if units:
            score += 1.5 if country.unit == units[0] else -0.5
        votes[country.id] = score
    ranked = sorted(votes.values(), reverse=True)
    plain = dollar or not signs  # only then does the country decide the currency
    if plain and ranked[0] - ranked[1] < UNSURE:
        for country_id, points in by_place(low).items():
            if country_id in votes:
                votes[country_id] += points
    best = max(rules.countries, key=lambda country: votes[country.id])
    return best, votes


def by_place(low: str) -> dict[str, float]:
    """Points of countries whose places the advert names where adverts name them: at its end and its beginning."""
    pieces = [piece.strip(" *\"'!?") for piece in _PIECE.split(low[-400:])][-8:]
    pieces += [piece.strip() for piece in _PIECE.split(low[:120])][:3]
    names: dict[str, None] = {}
    for piece in pieces:
        words = [word for word in piece.split() if not any(sign.isdigit() for sign in word)][:6]
        for name in (" ".join(words), " ".join(words[:1]), " ".join(words[-1:]), " ".join(words[-2:])):
            if len(name) >= 4:
                names[name_key(name)] = None
    points: dict[str, float] = {}
    known = gazetteer(PLACES)
    for name in names:
        found = [place.country.lower() for place in known.get(name, ())]
        for country in set(found):
            points[country] = points.get(country, 0.0) + (
                2.0 if len(set(found)) == 1 else 1.0 if country == found[0] else 0.5
            )
    return points
