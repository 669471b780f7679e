"""The language of sellers: names of parts, findings, and the cues that give a mention its status.

`rules/subjects/CODE.yaml` holds the subject rules, `rules/scope/*.yaml` the cues. A pattern is words separated by
spaces: `a|b` either word, `word?` optional, `..` up to four words between, `<n>` any number.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field, field_validator

from pipeline.errors import RuleError
from pipeline.rules import RuleId, RuleModel, Source, read_folder
from pipeline.types import Status

MentionKind = Literal["part", "finding", "weak", "mask"]
CueKind = Literal[
    "negation",
    "fault",
    "sound",
    "done",
    "due",
    "hedge",
    "except",
    "other",
    "slight",
    "heavy",
    "heading",
    "still",
    "boundary",
    "idle",
]
# A part or finding of such a word alone would be read everywhere.
_COMMON = (
    " a an and are as at be been but by did do does for from go goes going had has have he her his i if in is it its "
    "me my of off on or our out she so than that the their them then there they this to up us was we were what when "
    "which who will with would you your "
)
Direction = Literal["forward", "backward", "both"]


class _Rule(RuleModel):
    id: RuleId
    reason: str = Field(min_length=3)
    source: Source
    patterns: tuple[str, ...] = Field(min_length=1)
    matches: dict[str, str] = Field(default_factory=dict)  # sentence -> "subject status"
    misses: tuple[str, ...] = ()  # sentences in which the rule makes no claim

    @field_validator("patterns")
    @classmethod
    def _words(cls, patterns: tuple[str, ...]) -> tuple[str, ...]:
        for pattern in patterns:
            words = pattern.split()
            if not words or words[0] == ".." or words[-1] == ".." or words[0].endswith("?"):
                raise ValueError(f"the pattern {pattern!r} must begin and end with a word that is not optional")
        return patterns


class SubjectRule(_Rule):
    """`part`: a name, its status comes from cues. `finding`: carries a status. `weak`: a finding that gives way to
    a part named beside it and then speaks of that part. `mask`: words that look like a part and are none."""

    kind: MentionKind
    status: Status | None = None  # of a finding
    negated: Status | None = None  # of a denied finding; None: the opposite
    acts_as: CueKind | None = None  # a weak finding's cue for the part beside it
    detail: str | None = None
    bare: Status | None = None  # of a part named without any cue
    telling: int = 0  # where several rules make one claim, the words of the more telling are quoted

    @property
    def default(self) -> Status | None:
        return self.status or (None if self.kind in ("part", "mask") else "present")

    @field_validator("patterns")
    @classmethod
    def _tells_something(cls, patterns: tuple[str, ...]) -> tuple[str, ...]:
        for pattern in patterns:
            if any(f" {word} " in _COMMON for word in pattern.split("|")) and " " not in pattern:
                raise ValueError(f"the pattern {pattern!r} is a common word; every advert would match")
        return patterns


class SubjectFile(RuleModel):
    subject: RuleId
    rules: tuple[SubjectRule, ...]


class CueRule(_Rule):
    """A cue: how it bears on mentions, which way it looks (`forward`: on what follows it) and how many words far.

    `other` takes words out of the reading (another vehicle, the model in general, wishes, conditions); `boundary`
    begins a chunk that shares the work told before it; `heading` gives its `status` to what stands below it; `idle`
    words only look like a cue ("split rear bench", "tow bar") and are taken from those that would hold.
    """

    kind: CueKind
    direction: Direction = "both"
    reach: int = Field(default=8, ge=1, le=60)
    status: Status | None = None  # of a heading
    subjects: tuple[RuleId, ...] = ()  # where it holds; everywhere when empty


class Limit(RuleModel):
    """Subjects of which only some statuses can be said (a van cannot have its towing done)."""

    subjects: tuple[RuleId, ...]
    statuses: tuple[Status, ...]
    reason: str = Field(min_length=3)
    source: Source


class CueFile(RuleModel):
    cues: tuple[CueRule, ...] = ()
    limits: tuple[Limit, ...] = ()
    events: tuple[RuleId, ...] = ()  # subjects that happened, which any work told afterwards has mended


class Language(RuleModel):
    """All subject rules (subject code -> rules), all cues, and the statuses that some subjects are limited to."""

    subjects: dict[str, tuple[SubjectRule, ...]]
    cues: tuple[CueRule, ...]
    limits: dict[str, tuple[Status, ...]] = Field(default_factory=dict)
    events: tuple[str, ...] = ()


def load_language(rules: Path) -> Language:
    """`subjects/` and `scope/` of a rules folder. Raises RuleError naming the file when one is wrong."""
    subjects: dict[str, tuple[SubjectRule, ...]] = {}
    seen: set[str] = set()
    for name, file in read_folder(rules / "subjects", SubjectFile).items():
        if file.subject in subjects:
            raise RuleError(f"the subject {file.subject!r} has two files", where=f"subjects/{name}.yaml")
        subjects[file.subject] = file.rules
        _once([rule.id for rule in file.rules], seen, f"subjects/{name}.yaml")
    cues: list[CueRule] = []
    limits: dict[str, tuple[Status, ...]] = {}
    events: list[str] = []
    for name, cue_file in read_folder(rules / "scope", CueFile).items():
        _once([cue.id for cue in cue_file.cues], seen, f"scope/{name}.yaml")
        cues.extend(cue_file.cues)
        events.extend(cue_file.events)
        limits.update({subject: limit.statuses for limit in cue_file.limits for subject in limit.subjects})
    return Language(subjects=subjects, cues=tuple(cues), limits=limits, events=tuple(events))


def _once(ids: list[str], seen: set[str], where: str) -> None:
    for rule_id in ids:
        if rule_id in seen:
            raise RuleError(f"the rule id {rule_id!r} stands twice", where=where, remedy="Give it a name of its own.")
        seen.add(rule_id)
