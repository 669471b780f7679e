"""Registration letters and age codes as periods."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field, StringConstraints, model_validator

from pipeline.rules import RuleModel, Source, read_rules

Month = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])$")]
Letter = Annotated[str, StringConstraints(pattern=r"^[A-Y]$")]


class AgeCodes(RuleModel):
    """The two-digit codes since 2001."""

    first: Month
    spring_month: Annotated[int, Field(ge=1, le=12)]
    autumn_month: Annotated[int, Field(ge=1, le=12)]
    autumn_offset: int


class IrishPrefix(RuleModel):
    """Year, county and number; from `halves_from` a third digit tells the half-year."""

    first_year: int
    halves_from: int
    counties: tuple[str, ...]
    source: Source


class Registration(RuleModel):
    source: Source
    suffix: Mapping[Letter, tuple[Month, Month]]
    prefix: Mapping[Letter, tuple[Month, Month]]
    age_code: AgeCodes
    irish: IrishPrefix

    @model_validator(mode="after")
    def _in_order(self) -> Registration:
        for name, table in (("suffix", self.suffix), ("prefix", self.prefix)):
            periods = [month for letter in sorted(table) for month in table[letter]]
            if periods != sorted(periods):
                raise ValueError(f"the periods of {name} are not in the order of the letters")
        return self


def load_registration(rules: Path) -> Registration:
    """`regions/uk/registration.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(
        rules / "regions" / "uk" / "registration.yaml", Registration, "rules/regions/uk/registration.yaml"
    )
