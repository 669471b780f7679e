"""The subjects that an advert can speak of: code and the name a reader sees."""

from __future__ import annotations

from pathlib import Path

from pydantic import field_validator

from pipeline.rules import RuleId, RuleModel, Source, read_rules


class Subject(RuleModel):
    code: RuleId
    name: str


class Subjects(RuleModel):
    source: Source
    subjects: tuple[Subject, ...]

    @field_validator("subjects")
    @classmethod
    def _once(cls, subjects: tuple[Subject, ...]) -> tuple[Subject, ...]:
        codes = [subject.code for subject in subjects]
        double = sorted({code for code in codes if codes.count(code) > 1})
        if double:
            raise ValueError(f"the code {double[0]!r} stands twice")
        return subjects

    @property
    def names(self) -> dict[str, str]:
        """Code -> name, in the order of the file."""
        return {subject.code: subject.name for subject in self.subjects}


def load_subjects(rules: Path) -> Subjects:
    """`subjects.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "subjects.yaml", Subjects, "rules/subjects.yaml")
