"""What is done at a viewing: stages in walking order, their checks, tools and cautions."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from pipeline.errors import RuleError
from pipeline.rules import RuleId, RuleModel, Source, read_rules
from pipeline.schemas.knowledge_parts import Group
from pipeline.schemas.subjects import load_subjects

Means = Literal["walk_round", "underneath", "road_test"]
LABEL = "rules/viewing/viewing.yaml"


class Tool(RuleModel):
    name: str
    why: str


class Takes(RuleModel):
    """Faults that belong to a stage: of these groups (empty: any), shown best by these means (none given: any)."""

    groups: tuple[Group, ...] = ()
    means: Means | None = None

    def fits(self, group: str, means: Means) -> bool:
        """Whether a fault of that group, shown best by that means, is looked at here."""
        return (not self.groups or group in self.groups) and self.means in (None, means)


class Check(RuleModel):
    """One thing to do, what is then normal, and what is a bill."""

    id: RuleId
    do: str
    normal: str
    bill: str
    subjects: tuple[RuleId, ...]  # subjects of adverts that it bears on


class Stage(RuleModel):
    id: RuleId
    name: str
    about: str
    only_with: Group | None = None
    takes: tuple[Takes, ...] = ()
    cautions: tuple[str, ...] = ()
    checks: Annotated[tuple[Check, ...], Field(min_length=1)]
    source: Source


class ViewingRules(RuleModel):
    about: str
    bring: tuple[Tool, ...]
    cautions: Annotated[tuple[str, ...], Field(min_length=1)]
    stages: Annotated[tuple[Stage, ...], Field(min_length=1)]
    source: Source

    @model_validator(mode="after")
    def _once(self) -> ViewingRules:
        ids = [stage.id for stage in self.stages] + [check.id for stage in self.stages for check in stage.checks]
        twice = next((key for key in ids if ids.count(key) > 1), None)
        if twice:
            raise ValueError(f"the id {twice!r} stands twice")
        return self

    def stage_of(self, group: str, means: Means) -> Stage | None:
        """The first stage in walking order that looks at such a fault."""
        return next((stage for stage in self.stages if any(t.fits(group, means) for t in stage.takes)), None)


def load_viewing(rules: Path) -> ViewingRules:
    """`viewing/viewing.yaml` of a rules folder. Raises RuleError naming file and line, or an unknown subject."""
    viewing = read_rules(rules / "viewing" / "viewing.yaml", ViewingRules, LABEL)
    known = load_subjects(rules).names
    for stage in viewing.stages:
        for check in stage.checks:
            for subject in check.subjects:
                if subject not in known:
                    raise RuleError(f"{check.id}: unknown subject {subject!r}", where=LABEL)
    return viewing
