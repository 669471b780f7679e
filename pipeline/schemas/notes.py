"""How far what the buyer records is believed, and the words in which it is recorded."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator

from pipeline.rules import RuleId, RuleModel, Source, read_rules
from pipeline.types import FACT_KEYS, Status

Chance = Annotated[float, Field(gt=0, le=1)]
Words = tuple[Annotated[str, Field(min_length=2)], ...]


class Believed(RuleModel):
    """Confidence of a claim by where the buyer learnt it."""

    call: Chance
    viewing: Chance
    papers: Chance
    text_share: Chance
    correction: Chance
    source: Source


class FindingRules(RuleModel):
    """`share`: see `notes/words.py`; `no_parts`: subjects that name nothing to look at."""

    share: Chance
    no_parts: tuple[RuleId, ...]
    source: Source


class NoteRules(RuleModel):
    """Words are matched in lower case."""

    believed: Believed
    finding: FindingRules
    states: Mapping[Literal["sound", "minor", "major"], Words]
    statuses: Mapping[Status, Words]
    papers: Words
    changing: tuple[str, ...]
    text_facts: tuple[str, ...]
    source: Source

    @field_validator("changing", "text_facts")
    @classmethod
    def _known(cls, keys: tuple[str, ...]) -> tuple[str, ...]:
        unknown = [key for key in keys if key not in FACT_KEYS]
        if unknown:
            raise ValueError(f"unknown fact {unknown[0]!r}; known are {', '.join(FACT_KEYS)}")
        return keys


def load_note_rules(rules: Path) -> NoteRules:
    """`notes/notes.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "notes" / "notes.yaml", NoteRules, "rules/notes/notes.yaml")
