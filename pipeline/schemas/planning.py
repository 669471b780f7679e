"""What a day of viewings goes by."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field, StringConstraints

from pipeline.rules import RuleModel, Source, read_rules

Country = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}$")]


class DayRules(RuleModel):
    """Hours from home to home, when to leave, and where places are looked up."""

    hours: Annotated[float, Field(gt=0, le=24)]
    start: Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
    same_place: Annotated[float, Field(gt=0, lt=1)]
    countries: Mapping[str, tuple[Country, ...]]
    source: Source


def load_day_rules(rules: Path) -> DayRules:
    """`decision/day.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "decision" / "day.yaml", DayRules, "rules/decision/day.yaml")
