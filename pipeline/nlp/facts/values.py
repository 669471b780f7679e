"""Facts that phrases state outright: owners and service history."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from pipeline.nlp.facts.anchors import Lookup, spots
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.phrases import count
from pipeline.nlp.facts.scene import Scene
from pipeline.paths import data_folder
from pipeline.schemas.facts import Value, ValueRules, load_values

_FILES = ("terms", "engine", "owners", "history")
MOST_MATCHES = 50  # of one phrase


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
    told = list(said(scene, "history"))
    nothing = [(start, end) for item, start, end, _, _ in told if item.value == "said_nothing"]
    for item, start, end, _, text in told:
        # "receipts for the tyres" is nothing, "a folder of receipts for …" is more
        if not any(a < end and start < b and end - start <= b - a for a, b in nothing):
            score = item.weight + 0.002 * (end - start)
            found.append(
                Candidate("service_history", item.value, start, end, f"history.{item.id}", score, 1.0, (text,))
            )
    best, rivals = choose(found)
    return [best] if best else [], rivals
