"""Which words of an advert may name the place where the vehicle stands."""

from __future__ import annotations

from pathlib import Path

from pipeline.rules import RuleModel, Source, read_rules


class PlaceWords(RuleModel):
    leads: frozenset[str]
    smallest: int
    common: frozenset[str]
    source: Source


def load_place_words(rules: Path) -> PlaceWords:
    """`places.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "places.yaml", PlaceWords, "rules/places.yaml")
