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
    least_own_share: float = Field(ge=0, le=1)
    least_own_share_with_mileage: float = Field(ge=0, le=1)
    least_own_share_without_facts: float = Field(ge=0, le=1)
    mileage_tolerance: float = Field(ge=0, lt=1)
    mileage_rounding: float = Field(ge=0)
    year_tolerance: int = Field(ge=0)
    gone_after_days: int = Field(ge=1)


def load_link_rules(rules: Path) -> LinkRules:
    """`linking.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "linking.yaml", LinkRules, "rules/linking.yaml")
