"""Engine size, fuel and gearbox."""

from __future__ import annotations

import re
from bisect import bisect_left
from functools import lru_cache
from itertools import chain, islice

from pipeline.nlp.facts.anchors import AnyOf
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.phrases import NUMBER_WORDS, ending, starting
from pipeline.nlp.facts.scene import Scene
from pipeline.nlp.facts.values import said, value_rules
from pipeline.schemas.facts import Value

LITRES_PER_CUBIC_INCH = 0.016387064  # exact: an inch is 25.4 mm (1959)
_ONES = {word: NUMBER_WORDS[word] for word in ("one", "two", "three", "four", "five", "six", "seven", "eight")}
_SIZE = re.compile(
    r"(?<![\w.,£€$/-])(?:(?P<cc>\d{3,4})[ ]?(?:cc|ccm|cm3)(?![a-z])"
    r"|(?P<inches>\d{2,3})[ -]?(?:cid|ci|cu\.?[ ]?in|cubic[ -]inch(?:es)?|cubes)(?![a-z])"
    r"|(?P<litre>\d{1,2}[.,]\d{1,2})(?![\d.,]\d|\d)(?P<code>[ ]?(?:litres?|liters?|ltr|l)(?![a-z])"
    r"|[ ]?[a-z]{1,4}(?![a-z]))?"
    r"|(?P<bare>[1-3]\d[05]0)(?![\w.,]\d|\d|[ ]?(?:miles|km|kms|mi|£|€|\$|quid|pounds|dollars|euro))"
    r"|(?P<whole>[1-9])[ -]?(?:litres?|liters?|ltr)(?![a-z]))"
)
_LITRE_WORD = re.compile(r"[ ]?(?:litres?|liters?|ltr|l)(?![a-z])")
_TURBO = re.compile(r" ?t(?:(/)|(?!\w))")
_AUTOMATIC = re.compile(r"[ -]{1,2}(?:auto|automatic|cvt|semi)")
_WORD_SIZE = re.compile(
    r"(?<![\w-])(?P<n>" + "|".join(_ONES) + r")[ -](?:litre|liter)(?! (?:can|cans|of|jerry|tub|bottle|water|oil|tank"
    r"|fuel|container|box|fridge)|\w|-)"
)
# Makers' letters for a diesel, after the size: consonants about a d, often with an i at the end.
_DIESEL_LETTERS = re.compile(r" ?(?:[cdhjrst]{0,3}d(?:[cdhjrst]?i)?|td[a-z]{1,2}|tddiesel)(?!\w)")
_GAS_ABROAD = ("runs on gas", "converted to gas", "gas system", "gas conversion")  # gasoline in America
_ASKED = re.compile(r" ?\?{1,3} ?(?:no|nope|nah|not)(?!\w)|-less(?!\w)")  # "automatic? No, manual"
_GEAR_OF_A_ROW = re.compile(r"(?:first|second|third|fourth|fifth|sixth|\d(?:st|nd|rd|th))[ -]gear(?!s)")
# Words of other meanings too, which tell the gearbox where signs, the engine or its fuel stand before them.
_BOX_AFTER = re.compile(
    r"(?:[,(/:|•\n-]|(?<![\w.,])\d\.\d ?[a-z]{0,3}|\d ?dr|door|cyl|four|six|v6|v8|gas|petrol|diesel|td|cab) ?$"
)
_BOX_BEFORE = re.compile(
    r" ?(?:[.,;)/|\n]|$)| (?:4x4|4wd|awd|2wd|rwd|(?:19|20)\d\d|\d{2,3}(?:k|,\d|\.\d|m|t)|gas|petrol|diesel)"
)
_SPEEDS_AT = re.compile(r"(?<![\w.,])[4-9]-?at(?!\w)")  # "6AT"
_AUTO_LABEL = re.compile(r"(?:^|\n)auto ?:")  # "Auto:" heads the make in other languages


Said = tuple[Value, int, int, int | None, str]


@lru_cache(maxsize=1)
def lists() -> dict[str, re.Pattern[str]]:
    """Patterns of the word lists: those that must follow are matched at a place, the others searched."""
    read = value_rules("engine").lists
    follow = {
        name: starting(read[name], over_commas=False)
        for name in ("not_fuel_after", "size_unit", "size_next", "diesel_code")
    }
    return {
        **follow,
        **{name: ending(read[name]) for name in ("not_fuel_before", "denied")},
    }


@lru_cache(maxsize=1)
def not_box() -> AnyOf:
    return AnyOf(value_rules("engine").lists["not_box"])


@lru_cache(maxsize=2)
def not_fuel(fuel: str) -> AnyOf:
    return AnyOf(value_rules("engine").lists["not_" + fuel])


def read_engine(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """Chosen engine size, fuel and gearbox, and rivals."""
    sizes = _sizes(scene)
    chosen, rivals = choose(sizes)
    found = [chosen] if chosen else []
    told = list(said(scene, "engine"))
    for candidates in (_fuels(scene, sizes, told), _boxes(scene, told)):
        best, others = choose(candidates)
        found += [best] if best else []
        rivals += others
    return found, rivals


def _sizes(scene: Scene) -> list[Candidate]:
    found = []
    for match in islice(scene.led(_SIZE, 1, 4), 301):
        start, end = match.span()
        if scene.hidden(start, end):
            continue
        after = scene.low[match.end("litre") if match["litre"] else end :][:14].split("\n")[0]
        before = scene.low[max(0, start - 12) : start]
        score = 1.0 if start < 160 else 0.0
        if match["cc"]:
            litres, rule, score = int(match["cc"]) / 1000, "engine.cc", score + 4
        elif match["inches"]:
            litres, rule, score = int(match["inches"]) * LITRES_PER_CUBIC_INCH, "engine.cubic_inches", score + 3
        elif match["whole"]:
            litres, rule, score = float(match["whole"]), "engine.litre", score + 2
        elif match["bare"]:
            litres, rule = int(match["bare"]) / 1000, "engine.model_number"
            if scene.country.id in ("us", "ca") or not 0.8 <= litres <= 3.0 or start > 160:
                continue
            if (
                1.9 < litres < 2.1
                or litres * 20 % 1
                or before.rstrip().endswith(("£", "$", "€", ",", ".", ":", "for", "asking", "want", "\n"))
            ):
                continue
            score += 0.2
        else:
            litres, rule, score = float(match["litre"].replace(",", ".")), "engine.litres", score + 1
            unit = lists()["size_unit"].match(after)
            turbo = (code := _TURBO.match(after)) and (code[1] or (start < 80 and litres <= 3.2))
            if unit and not turbo and after[:1] not in (",", "."):
                continue
            if _LITRE_WORD.match(after):
                score += 2
            if lists()["size_next"].match(after):
                score += 1.5
            if before.rstrip().endswith(("engine", "motor", "engine:", "motor:")):
                score += 1
        if 0.3 <= litres < 10:
            found.append(
                Candidate("engine_litres", _tenth(litres), start, match.end("litre") if match["litre"] else end, rule,
                          score - start / 10_000, 1.0)
            )  # fmt: skip
    for match in islice(_WORD_SIZE.finditer(scene.low), 20) if "lit" in scene.low else ():
        score = 3.0 if match.start() < 160 else 2.0
        found.append(
            Candidate("engine_litres", float(_ONES[match["n"]]), match.start(), match.end(), "engine.litre_in_words",
                      score - match.start() / 10_000, 1.0)
        )  # fmt: skip
    return found


def _tenth(litres: float) -> float:
    """To one decimal, halves up: 1.25 is 1.3 as the trade says it."""
    return int(litres * 10 + 0.5 + 1e-9) / 10


def _fuels(scene: Scene, sizes: list[Candidate], told: list[Said]) -> list[Candidate]:
    found = []
    ends = sorted(size.end for size in sizes)
    for item, start, end, _, text in told:
        if not item.id.startswith("fuel.") or _ASKED.match(scene.low, end):
            continue
        if (item.id == "fuel.lpg" and _denied(scene, start)) or (
            item.weight < 4 and (lists()["not_fuel_after"].match(scene.low[end : end + 30]) or _denied(scene, start))
        ):
            continue
        at = bisect_left(ends, start + 1)
        beside = at > 0 and 0 <= start - ends[at - 1] <= 14
        score = item.weight + (2.5 if beside else 0.0) + (1.0 if start < 160 else 0.0)
        if item.id in ("fuel.lpg", "fuel.hybrid") and _of_others(scene, item.id[5:], start, end):
            continue
        if item.id == "fuel.lpg" and scene.country.id in ("us", "ca") and text in _GAS_ABROAD:
            continue
        if item.id == "fuel.gas" and not (scene.country.id in ("us", "ca") and (beside or start < 160)):
            continue
        if not beside and lists()["not_fuel_before"].search(scene.clause_before(start, 18)):
            score -= 2.5
        found.append(Candidate("fuel", item.value, start, end, f"engine.{item.id}", score - start / 10_000, 2.0))
    for size in sizes:
        after = scene.low[size.end : size.end + 8]
        code = lists()["diesel_code"].match(after) or _DIESEL_LETTERS.match(after)
        if code:
            found.append(
                Candidate(
                    "fuel", "diesel", size.start, size.end + code.end(), "engine.fuel.code", 5.0 + size.score / 2, 2.0
                )
            )
    return found


def _of_others(scene: Scene, fuel: str, start: int, end: int) -> bool:
    """Whether a word of a fuel is that of something else."""
    return any(one.start() < end and start < one.end() for one in islice(not_fuel(fuel).finditer(scene.words), 20))


def _denied(scene: Scene, start: int) -> bool:
    return lists()["denied"].search(scene.clause_before(start, 14)) is not None


def _boxes(scene: Scene, told: list[Said]) -> list[Candidate]:
    found: list[Candidate] = []
    for match in islice(scene.led(_SPEEDS_AT, 1, 1), 20):
        found.append(Candidate("gearbox", "auto", *match.span(), "engine.gearbox.speeds_at", 3.0, 2.0))
    told = [one for one in told if one[0].id.startswith("gearbox.")]
    if not told:
        return found
    labels = _AUTO_LABEL.finditer(scene.low) if "auto" in scene.words.known and ":" in scene.low else ()
    others = chain(not_box().finditer(scene.words), labels)
    other = [match.span() for match in islice(others, 100)]
    for item, start, end, number, text in told:
        if _ASKED.match(scene.low, end):
            continue
        if any(a < end and start < b for a, b in other):
            continue
        if number is not None and (not 3 <= number <= 10 or _GEAR_OF_A_ROW.match(scene.low, start)):
            continue
        if item.id == "gearbox.manual_word" and not _beside_engine(scene, start, end, text):
            continue
        score = item.weight + (1.5 if start < 200 else 0.0) + (0.5 if number is None else 0.0)
        if number is not None and _AUTOMATIC.match(scene.low, end):
            continue
        if number is not None and "{n}" in text and "speed" not in text and "sp" not in text:
            score -= 1.0
        found.append(Candidate("gearbox", item.value, start, end, f"engine.{item.id}", score - start / 10_000, 2.0))
    return found


def _beside_engine(scene: Scene, start: int, end: int, text: str) -> bool:
    """Whether a word of several meanings stands where adverts put the gearbox."""
    if text == "m'gearbox":
        return True
    after = _BOX_BEFORE.match(scene.low, end) is not None
    if text.startswith("gear"):
        return after
    if text != "man" and scene.country.id not in ("us", "ca"):
        return False
    return after and _BOX_AFTER.search(scene.low, max(0, start - 10), start) is not None
