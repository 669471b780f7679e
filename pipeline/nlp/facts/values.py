"""Facts that phrases state outright: owners and service history."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

from pipeline.nlp.facts.anchors import Lookup, spots
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.phrases import NUMBER_WORDS, count
from pipeline.nlp.facts.scene import Scene
from pipeline.paths import data_folder
from pipeline.schemas.facts import Value, ValueRules, load_values

_FILES = ("terms", "engine", "owners", "history")
MOST_MATCHES = 50  # of one phrase
_SIGNS = ".,;:!?()\n/|•*-–—"
_NOT_COUNTED = re.compile(r" (?:ago|back)(?!\w)|['’] ")
_PAPERS = re.compile(
    r"(?<!\w)(?:books?|stamp|bills?|invoice|receipt|record|history|print-?out|log|notes|paperwork|folder)"
)
_OWNERS = frozenset(("owner", "owners", "keeper", "keepers"))
_COUNTED = "|".join(("\\d{1,2}", *NUMBER_WORDS))
_IN_ALL = re.compile(
    rf"[^.;!?\n]{{1,60}}?[,(–-] ?(?:so (?P<so>{_COUNTED})(?= ?(?:[.,;)\n]|$))|(?:so )?(?P<all>{_COUNTED}) in all(?!\w))"
)
_ONE_OF_THEM = re.compile(r"(?<!\w)(?:by|past|from|off|with|under) (?:the|its|her|his) $")


@lru_cache(maxsize=8)
def value_rules(name: str) -> ValueRules:
    return load_values(data_folder("rules"), name)


@lru_cache(maxsize=1)
def _lookup() -> Lookup[tuple[str, Value]]:
    """Phrases of all files together, each under its file: the words of a text are then looked up once."""
    return Lookup(((name, item), text) for name in _FILES for item in value_rules(name).values for text in item.words)


def said(scene: Scene, name: str) -> Iterator[tuple[Value, int, int, int | None, str]]:
    """Value, start, end, number (where the phrase has one) and phrase, for every match of a file's phrases."""
    if not scene.live:
        scene.live = {file: [] for file in _FILES}
        for (file, item), text in _lookup().live(scene.words):
            scene.live[file].append((item, text))
    for item, text in scene.live[name]:
        for start, end, number in spots(text, scene.words, MOST_MATCHES):
            yield item, start, end, count(number) if number else None, text


def read_owners(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """How many owners are counted."""
    found = []
    for item, start, end, number, text in said(scene, "owners"):
        value = number if item.value == "n" else (number or 0) + 1 if item.value == "n+1" else int(item.value)
        if item.id == "counted" and (
            (scene.low.startswith("first", start) and "hand" not in text) or _someone(scene, start, end)
        ):
            continue  # "the first owner" counts nobody
        if item.id == "alone" and (scene.low.startswith("second hand", start) or not _stands_alone(scene, start, end)):
            continue  # "Second hand." says that it is used
        if value and 1 <= value <= 30:
            found.append(
                Candidate("owners", value, start, end, f"owners.{item.id}", item.weight + 0.01 * (end - start), 1.0)
            )
    found += _in_all(scene)
    best, rivals = choose(found)
    return [best] if best else [], rivals


def _in_all(scene: Scene) -> Iterator[Candidate]:
    """What owners that are named come to: "Owners: my aunt then me, so 2", "one owner since 1998 (two in all)"."""
    for word in _OWNERS & scene.words.known:
        for start in scene.words.places(word)[:MOST_MATCHES]:
            match = _IN_ALL.match(scene.low, start + len(word))
            value = count(match["so"] or match["all"]) if match else None
            if match and value and value <= 30:
                yield Candidate("owners", value, start, match.end(), "owners.in_all_of_them", 5.0, 1.0)


def _someone(scene: Scene, start: int, end: int) -> bool:
    """Whether one owner of several is spoken of, not their number: "fitted by the second owner", "two owners ago"."""
    after = _NOT_COUNTED.match(scene.low, end)
    return after is not None or _ONE_OF_THEM.search(scene.low, max(0, start - 12), start) is not None


def _stands_alone(scene: Scene, start: int, end: int) -> bool:
    """Whether signs or the text's ends stand on both sides."""
    before, after = scene.low[max(0, start - 3) : start].rstrip(" "), scene.low[end : end + 3].lstrip(" ")
    return (not before or before[-1] in _SIGNS) and (not after or after[0] in _SIGNS)


def read_history(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """Full, part or no service history."""
    found: list[Candidate] = []
    told = list(said(scene, "history"))
    nothing = [(start, end) for item, start, end, _, _ in told if item.value == "said_nothing"]
    for item, start, end, _, text in told:
        # "receipts for the tyres" is nothing, "a folder of receipts for …" is more
        if item.id == "regular" and not _PAPERS.search(scene.low, max(0, start - 70), end + 70):
            continue
        if not any(a < end and start < b and end - start <= b - a for a, b in nothing):
            score = item.weight + 0.002 * (end - start)
            found.append(
                Candidate("service_history", item.value, start, end, f"history.{item.id}", score, 1.0, (text,))
            )
    best, rivals = choose(found)
    return [best] if best else [], rivals
