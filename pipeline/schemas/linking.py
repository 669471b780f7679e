"""When two adverts are taken to be of one vehicle."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field

from pipeline.rules import RuleModel, Source, read_rules


class LinkRules(RuleModel):
    source: Source
    shingle_words: int = Field(ge=3)
    common_shingle: int = Field(ge=2)
    least_shared_shingles: int = Field(ge=1)
    least_likeness: float = Field(ge=0, le=100)
    mileage_tolerance: float = Field(ge=0, lt=1)
    year_tolerance: int = Field(ge=0)


def load_link_rules(rules: Path) -> LinkRules:
    """`linking.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "linking.yaml", LinkRules, "rules/linking.yaml")
