"""How bad: the grade of a claim from the grade cues beside it."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.nlp.mentions import Cue
from pipeline.types import Grade, Status


def grade_of(status: Status, start: int, end: int, cues: Iterable[Cue]) -> Grade:
    """Grade of a claim that speaks at tokens start..end. Only what is wrong, or may be, has a grade."""
    if status in ("absent", "done", "due"):
        return "plain"
    found: Grade = "plain"
    nearest = 99
    for cue in cues:
        kind = cue.rule.kind
        if kind not in ("slight", "heavy") or cue.negated:
            continue
        distance = start - cue.end if cue.end <= start else cue.start - end if cue.start >= end else 0
        reach = cue.rule.reach
        if cue.end <= start and cue.rule.direction == "backward":
            continue
        if cue.start >= end and cue.rule.direction == "forward":
            continue
        if distance <= reach and distance < nearest:
            nearest = distance
            found = "slight" if kind == "slight" else "heavy"
    return found
