"""How bad: the grade of a claim from the grade cues beside it."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.nlp.mentions import Cue
from pipeline.types import Grade, Status

GRADED: frozenset[Status] = frozenset({"present", "possible"})  # only what is wrong, or may be, has a grade
GRADES = frozenset({"slight", "heavy"})  # kinds of cues


def grade_of(start: int, end: int, cues: Iterable[Cue]) -> Grade:
    """Grade of a claim that speaks at tokens start..end, from the grade cues around it."""
    found: Grade = "plain"
    nearest = 99
    for cue in cues:
        if cue.negated:
            continue
        distance = start - cue.end if cue.end <= start else cue.start - end if cue.start >= end else 0
        reach = cue.rule.reach
        if cue.end <= start and cue.rule.direction == "backward":
            continue
        if cue.start >= end and cue.rule.direction == "forward":
            continue
        if distance <= reach and distance < nearest:
            nearest = distance
            found = "slight" if cue.rule.kind == "slight" else "heavy"
    return found
