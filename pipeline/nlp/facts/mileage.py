"""The odometer reading now and its unit, told from every other distance an advert speaks of."""

from __future__ import annotations

import re
from functools import lru_cache

from pipeline.nlp.facts.around import CueSet
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.numbers import Number
from pipeline.nlp.facts.scene import Scene
from pipeline.paths import data_folder
from pipeline.schemas.facts import CueRules, load_cues

LOWEST, HIGHEST = 100, 1_500_000
_LABEL_UNIT = re.compile(r"(?<![\w])(kms?|k's|kilomet(?:er|re)s?|miles?|mileage|mi)(?![\w])")
_ON_CLOCK = re.compile(
    r"(?: thou)? (?:on (?:the )?(?:clock|odometer|odo|dash|dial|speedo|glass)|shown|showing|now)(?!\w)"
)
_NOW_ON = re.compile(r"(?:it'?s|now) (?:on|at|showing) $")
LABELS = frozenset({"label", "now", "clicked"})
_HAS = re.compile(r"(?<!\w)(?:has|shows|showing|got|reads|with) (?:about |around |just )?$")
_ON_IT = re.compile(r" (?:on (?:it|her|him)|and change)(?!\w)")
_M = re.compile(r" ?m(?![\w'’])")  # "84,300m"
_ON = (", on ", ". on ", "; on ", "\non ")  # "manual, on 148,300."
_RANGE = re.compile(r"(?<!x)(?<!19\d)(?<!20\d)\d[ k]{0,2}[–-] ?$")  # "90-100k", but "4x4 - 156k", "2003 - 156k"


@lru_cache(maxsize=1)
def cue_rules() -> CueRules:
    return load_cues(data_folder("rules"), "mileage")


@lru_cache(maxsize=1)
def cue_set() -> CueSet:
    return CueSet(cue_rules().cues)


def read_mileage(scene: Scene, taken: list[tuple[int, int]]) -> tuple[list[Candidate], list[Candidate]]:
    """Chosen reading with its unit, and rivals. `taken`: spans that other facts own (price, year, plate)."""
    rules = cue_rules()
    weights = rules.weights
    numbers = [
        (number, value)
        for number in scene.numbers
        if (value := _distance(scene, number)) is not None
        and not [start for start, end in taken if start < number.last and number.first < end]
        and not _RANGE.search(scene.low, max(0, number.first - 14), number.first)
    ]
    units = [number.unit for number, value in numbers if number.unit and value >= 3000]
    usual = max(dict.fromkeys(units), key=units.count) if units else scene.country.unit
    told = [cue_set().sums(scene.around(number.start, number.end)) for number, _ in numbers]
    largest = max((value for _, value in numbers), default=0.0)
    present = [
        value
        for (_, value), (_, ids) in zip(numbers, told, strict=True)
        if "event" not in ids or not LABELS.isdisjoint(ids)
    ]
    if present and max(present) >= largest / 2:  # what is to come makes it no smaller: "127k, belt due at 140k"
        largest = max(present)
    found = []
    for (number, value), (score, ids) in zip(numbers, told, strict=True):
        features = _features(scene, number, value, largest)
        score += sum([weights.get(feature, 0.0) for feature in features])
        unit = number.unit or _label_unit(scene, number) or usual
        found.append(
            Candidate("mileage", int(value), number.start, number.end, "mileage." + (ids[0] if ids else "number"),
                      score, rules.least, (*features, *ids), (("mileage_unit", unit),))
        )  # fmt: skip
    best, rivals = choose(found)
    return [best] if best else [], rivals


def _label_unit(scene: Scene, number: Number) -> str | None:
    """The unit of a label before the number: "KM: 129.000", "clock in km says 230,114"."""
    found = _LABEL_UNIT.findall(scene.clause_before(number.start, 25))
    return None if not found else "km" if found[-1].startswith("k") else "mi"


def _distance(scene: Scene, number: Number) -> float | None:
    """The distance meant, None when it can be none: "168 on the clock" is 168,000."""
    value = number.value
    if number.digits.isdecimal() and 20 <= value < 500 and not (number.unit or number.money or number.thousands):
        before = scene.clause_before(number.first, 14)
        on_clock = (
            _ON_CLOCK.match(scene.low, number.last)
            or _NOW_ON.search(before)
            or (_HAS.search(before) and _ON_IT.match(scene.low, number.last))
        )
        return value * 1000 if on_clock else None
    if number.thousands and "grand" in scene.low[number.last : number.end]:
        return None
    if number.decimals == 1 and "," in number.digits and 50 <= value < 1000 and not (number.money or number.unit):
        return value * 1000 if not number.thousands else value  # "118,7": thousands and their tenth
    if number.money or (number.decimals and not number.thousands):
        return None
    if not number.unit and not number.thousands and not number.grouped and not 10_000 <= value <= HIGHEST:
        return None
    if number.unit and not number.thousands and value < 1000 and not number.grouped:
        return None
    return value if LOWEST <= value <= HIGHEST else None


def _features(scene: Scene, number: Number, value: float, largest: float) -> list[str]:
    found = []
    if number.unit:
        found.append("unit")
    if number.thousands:
        found.append("thousands")
    if not number.unit and not number.thousands:
        found.append("bare")
    if number.grouped:
        found.append("grouped")
    if value < 3000:
        found.append("small")
    elif value < 10_000 and not number.unit:
        found.append("little")
    if value == largest:
        found.append("largest")
    if number.start < 110:
        found.append("title")
    if number.start < 200:
        found.append("opening")
    if not number.unit and number.grouped and value >= 10_000 and _M.match(scene.low, number.end):
        found.append("unit")
    start = number.start
    if scene.low.endswith(_ON, 0, start):
        start -= 3
    before = scene.low[max(0, start - 3) : start].strip(" ")
    after = scene.low[number.end : number.end + 3].strip(" ")
    if (not before or before[-1] in ",.;:|\n-–—(*·/") and (not after or after[0] in ",.;|\n-–—)*·/"):
        found.append("alone")
        if {"grouped", "largest", "opening"} <= {*found} and value >= 10_000:
            found.append("headline")
    return found
