"""Facts that phrases state outright: owners and service history."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.phrases import count, phrase
from pipeline.nlp.facts.scene import Scene
from pipeline.paths import data_folder
from pipeline.schemas.facts import Value, ValueRules, load_values

MOST_MATCHES = 50  # of one phrase


@lru_cache(maxsize=8)
def value_rules(name: str) -> ValueRules:
    return load_values(data_folder("rules"), name)


def matches(scene: Scene, item: Value) -> Iterator[tuple[int, int, int | None, str]]:
    """Start, end, number (where the phrase has one) and the phrase, for every match of a value's phrases."""
    for text in item.words:
        made = phrase(text)
        if made.anchors and not made.anchors & scene.words:
            continue
        for index, match in enumerate(made.pattern.finditer(scene.low)):
            if index >= MOST_MATCHES:
                break
            number = count(match["n"]) if "n" in made.pattern.groupindex and match["n"] else None
            yield match.start(), match.end(), number, text


def read_owners(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """How many owners are counted."""
    found = []
    for item in value_rules("owners").values:
        for start, end, number, text in matches(scene, item):
            value = number if item.value == "n" else (number or 0) + 1 if item.value == "n+1" else int(item.value)
            if item.id == "counted" and scene.low.startswith("first", start) and "hand" not in text:
                continue  # "the first owner" counts nobody
            if value and 1 <= value <= 30:
                found.append(
                    Candidate("owners", value, start, end, f"owners.{item.id}", item.weight + 0.01 * (end - start), 1.0)
                )
    best, rivals = choose(found)
    return [best] if best else [], rivals


def read_history(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """Full, part or no service history."""
    found: list[Candidate] = []
    said = [(item, *match) for item in value_rules("history").values for match in matches(scene, item)]
    nothing = [(start, end) for item, start, end, _, _ in said if item.value == "said_nothing"]
    for item, start, end, _, text in said:
        if not any(a < end and start < b for a, b in nothing):
            score = item.weight + 0.002 * (end - start)
            found.append(
                Candidate("service_history", item.value, start, end, f"history.{item.id}", score, 1.0, (text,))
            )
    best, rivals = choose(found)
    return [best] if best else [], rivals
