"""The asking price, its currency and its terms. Every sum of money and every bare number is a candidate."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from pipeline.nlp.facts.around import Around, CueSet
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.numbers import Number
from pipeline.nlp.facts.scene import Scene, countries
from pipeline.nlp.facts.values import said
from pipeline.paths import data_folder
from pipeline.schemas.facts import CueRules, Value, load_cues

LOWEST, HIGHEST = 50, 5_000_000  # sums outside are no price of a vehicle, in any currency
SMALL_UNIT_FREE = ("GBP", "EUR", "USD", "CAD", "AUD", "NZD", "CHF")  # five figures are a distance sooner than a price
FURTHER_OFF = ("paid", "spent_clause", "other", "holds", "part")
_LITTLE = re.compile(r"\b(?:or|cash|the|and|is|a|but|each|will|am|i|vat|plus)\b")
_WORD = re.compile(r"[^\W_]")
ASKED = frozenset({"label", "floor"})
NOTHING = "said_nothing"  # phrases that look like terms and are none
_WANTING = ("asking", "i want", "want", "ask", "i'd take", "looking for")
_ENDING = ("obo", "ono", "and i mean", "firm", "or best", "neg")
_FIRM = re.compile(r",? (?:firm|obo|ono|or best)(?!\w)")
_PLACE_REACH = 30  # characters of a place with its signs
_PLACE = re.compile(r"[\s.!,]*(?:[a-z'’. -]+)?[\s.!]*")
_AT = re.compile(r"(?:^| )(?:at|in|on|to|of|by|for|every|since|about|page|lot|unit|nr|no|number|over|under)\.?$")
_TERMS_NEAR = 40  # characters between a price and its terms


@lru_cache(maxsize=1)
def cue_rules() -> CueRules:
    return load_cues(data_folder("rules"), "price")


@lru_cache(maxsize=1)
def cue_set() -> CueSet:
    return CueSet(cue_rules().cues)


class Spoken(NamedTuple):
    """A phrase of price terms at start..end."""

    item: Value
    start: int
    end: int
    text: str


def read_price(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """Chosen candidates (price with its currency, terms) and their rivals."""
    spoken = _spoken(scene)
    best, rivals = choose(_candidates(scene, spoken))
    terms = _terms(spoken, best)
    if best and "label" not in best.features and any(one.item.value == "auction" for one in _meant(spoken)):
        rivals = [best, *rivals]  # sums in an auction's notice are estimates and bids
        best, terms = None, _terms(spoken, None)
    return [one for one in (best, terms) if one], rivals


def _candidates(scene: Scene, spoken: list[Spoken]) -> list[Candidate]:
    rules = cue_rules()
    weights = rules.weights
    found = []
    for number in scene.numbers:
        value = _scaled(scene, number)
        if value is None:
            continue
        around = scene.around(number.start, number.end)
        score, ids = cue_set().sums(around)
        beside = _beside_terms(scene, number, spoken) if spoken else ()
        if (
            not ASKED.isdisjoint(ids) or "terms_after" in beside
        ):  # "paid 2200, want 700": what stands next to it outweighs what stands further off
            score -= sum(cue.weight for cue in rules.cues if cue.id in FURTHER_OFF and cue.id in ids)
        features = [*_features(scene, number, value, around), *beside, *ids]
        score += sum([weights.get(feature, 0.0) for feature in features if feature not in ids])
        currency = _currency(scene, number)
        price = int(value) if value == int(value) else value
        found.append(
            Candidate("asking_price", price, number.start, number.end, "price." + (ids[0] if ids else "sum"),
                      score, rules.least, tuple(features), (("currency", currency),))
        )  # fmt: skip
    return found


def _scaled(scene: Scene, number: Number) -> float | None:
    """The sum meant, None when it cannot be a price: "asking 11.5 obo" is 11,500."""
    if number.unit or (number.grouped and "x" in number.digits):
        return None
    value = number.value
    if not number.money and not number.thousands:
        if number.decimals and value >= 100:
            return None
        if value < LOWEST:
            if number.decimals == 1 and value >= 1 and _FIRM.match(scene.low, number.end):  # "16.5 firm"
                return value * 1000
            if value < 1 or not scene.clause_before(number.first).rstrip().endswith(_WANTING):
                return None
            after = scene.clause_after(number.last).strip()
            return value * 1000 if not after or after.startswith(_ENDING) else None
    elif number.money and number.decimals == 1 and 1 <= value < 100 and _FIRM.match(scene.low, number.end):
        return value * 1000  # "$12,5 firm"
    elif number.thousands and not number.money and value > 40_000:
        return None  # a bare 118k is a distance
    return value if LOWEST <= value <= HIGHEST else None


def _features(scene: Scene, number: Number, value: float, around: Around) -> list[str]:
    found = []
    bare = not number.money
    if bare:
        found.append("bare")
        if (
            not number.grouped
            and not number.thousands
            and number.digits.isdecimal()
            and 1940 <= value <= scene.saved_on.year + 1
        ):
            found.append("year_like")
    else:
        found.append("sign")
    if number.thousands:
        found.append("thousands")
    if value < 150:
        found.append("small")
    if bare and value % 10 not in (0, 5, 9):
        found.append("odd")
    if bare and value >= 30_000 and scene.country.currency in SMALL_UNIT_FREE:
        found.append("mileage_like")
    before = around.clauses[0].strip(" *-–—(\"'>:=,")
    after = around.clauses[1].strip(" *-–—)\"'<,")
    if not before:
        found.append("opens_sentence")
    if not after:
        found.append("ends_sentence")
    if not before and not after:
        found.append("alone")
    if number.start >= len(scene.low) * 0.5:
        found.append("ends_text")
        if bare and not before and "year_like" not in found:
            found.append("bare_opens")
        elif bare and "year_like" not in found and scene.low[: number.start].rstrip(" ").endswith((",", "-", "–")):
            found.append("after_comma")
        if bare and not after and "year_like" not in found and number.digits.replace(",", "").isdecimal():
            rest = scene.low[number.end :]
            if len(rest) < _PLACE_REACH and _PLACE.fullmatch(rest) and not _AT.search(before[-8:]):
                found.append("closes_text")
    elif number.end <= 60:
        found.append("opens_text")
    return found


def _currency(scene: Scene, number: Number) -> str:
    known = countries().currencies.get(number.money or "")
    if number.money in ("dollar", "dollars", "bucks", "$"):
        known = None
        dollars = [country for country in countries().countries if country.dollar]
        return max(dollars, key=lambda country: scene.votes[country.id]).currency
    if number.money == "kr":
        crowns = [country for country in countries().countries if country.currency in ("SEK", "NOK", "DKK", "ISK")]
        return max(crowns, key=lambda country: scene.votes[country.id]).currency
    return known or scene.country.currency


def _spoken(scene: Scene) -> list[Spoken]:
    """Every phrase of the price terms in the text."""
    return [Spoken(item, start, end, text) for item, start, end, _, text in said(scene, "terms")]


def _beside_terms(scene: Scene, number: Number, spoken: list[Spoken]) -> list[str]:
    """Whether terms stand right after a number ("900 ono") or right before it ("fixed price 900")."""
    found = []
    for one in spoken:
        if one.item.value in ("offers", "auction", NOTHING):
            continue
        between = scene.low[number.end : one.start] if one.start >= number.end else scene.low[one.end : number.start]
        if len(between) <= 12 and not _WORD.search(_LITTLE.sub("", between)):
            name = "terms_after" if one.start >= number.end else "terms_before"
            if name not in found:
                found.append(name)
    return found


def _meant(spoken: list[Spoken]) -> list[Spoken]:
    """Terms that are not part of a phrase which says nothing of the price."""
    nothing = [one for one in spoken if one.item.value == NOTHING]
    return [
        one
        for one in spoken
        if one.item.value != NOTHING and not any(other.start < one.end and one.start < other.end for other in nothing)
    ]


def _terms(spoken: list[Spoken], price: Candidate | None) -> Candidate | None:
    found = []
    for one in _meant(spoken):
        value, score = str(one.item.value), one.item.weight
        if (value == "offers" and price) or (value in ("negotiable", "fixed") and not price):
            continue
        if price:
            gap = one.start - price.end if one.start >= price.end else price.start - one.end
            score += 4.0 if gap <= 12 else 1.0 if gap <= _TERMS_NEAR else 0.0
        found.append(
            Candidate("price_terms", value, one.start, one.end, f"terms.{one.item.id}", score + 0.01 * len(one.text),
                      1.0)
        )  # fmt: skip
    return choose(found)[0]
