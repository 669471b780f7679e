"""Chunks that hold cues and no mention: they speak of what was named before, or of what comes."""

from __future__ import annotations

from pipeline.nlp.lexicon import BACK, CONTRAST, MINE, PLACED, THEN, WANTING
from pipeline.nlp.mentions import Cue, CueView, Mention
from pipeline.nlp.scope import Part
from pipeline.nlp.state import State, put_done
from pipeline.nlp.status import SAYS, judge, put, reaches, view
from pipeline.types import Status

_NEAR = 3  # a later chunk speaks of the mention before it when its cue stands this early
_SHORT = 9  # words of a sentence that goes on about the one before
_BRIEF = 4  # words of a chunk that says one thing


class Follower:
    """Gives what was named before what such a chunk says of it."""

    def __init__(self, state: State) -> None:
        self.state = state

    def read(self, part: Part, index: int) -> None:
        """Reads the chunk `part`, the `index`-th of its sentence."""
        polar = part.polar() if part.cues else []
        chunk = part.chunk
        if polar:
            self._orphan(part, polar, index)
            self.state.waiting = []
            tail = polar[-1]
            ready = tail.rule.direction != "backward" and tail.rule.id != SAYS and chunk.end - tail.end <= 2
            self.state.carried = [CueView(tail, -1, "list")] if ready else []
            if index == 0 and chunk.end - chunk.start <= _SHORT and not self.state.last:
                self._topic_after(part, polar)
        elif part.times and self.state.waiting and index and self.state.number and chunk.end - chunk.start <= 5:
            told = next((when for when in part.times if self.state.tells(when)), None)
            for mention in self.state.waiting if told is not None else []:
                put_done(mention, told)  # type: ignore[arg-type]
            self.state.waiting = []
        elif part.times and index == 0 and self._opens_list(chunk.end):
            self.state.dated_list = part.times[0] if self.state.tells(part.times[0], listed=True) else None
        elif chunk.link == "colon" and index:
            self.state.key = self.state.key or self.state.last
        negation = part.first("negation") if part.cues else None
        silent = index == 0 and not polar and negation is None
        if silent and self.state.last and not self.state.filled(part, chunk.start, chunk.end):
            self.state.last = []  # the sentence speaks of something else
        if negation is None or polar:
            return
        if self.state.asked and negation.start == chunk.start:
            for mention in self.state.key:
                mention.negated = True
                judge(mention)
            return
        if chunk.end - negation.end <= 1 and chunk.link == "weak":
            self.state.denied = True
        targets = self.state.key if chunk.link in ("colon", "start") else self.state.last
        if chunk.link == "weak" and chunk.end - chunk.start > 2:
            targets = []
        if any(cue.rule.kind in ("slight", "heavy") for cue in part.cues):
            targets = []
        if negation.rule.direction == "forward" and negation.end < chunk.end:
            targets = []
        if chunk.end - chunk.start <= _BRIEF and self.state.filled(part, chunk.start, chunk.end):
            for mention in targets:
                if mention.sentence != self.state.number and chunk.link != "start":
                    continue
                if mention.rule.kind == "part" or (mention.rule.default == "present" and not mention.negated):
                    mention.negated = True
                    judge(mention)

    def _opens_list(self, end: int) -> bool:
        """Whether a colon or dash and more stand after token `end`."""
        norms = self.state.tokens.norms
        return end + 1 < len(norms) and norms[end] in (":", "-", "–", "—") and norms[end + 1] != "\n"

    def _topic_after(self, part: Part, polar: list[Cue]) -> None:
        """The opening words of a sentence that go before a colon ("Gone into it this year: discs, pads")."""
        end = part.chunk.end
        if end < len(self.state.tokens.norms) and self.state.tokens.norms[end] == ":":
            self.state.topic = CueView(polar[0], -1, "list")

    def _orphan(self, part: Part, polar: list[Cue], index: int) -> None:
        """A chunk with cues and no mention of its own speaks of what was named before it."""
        chunk = part.chunk
        first = polar[0]
        near = first.start - chunk.start <= _NEAR + 3 and self.state.filled(part, chunk.start, first.start)
        colon = chunk.link == "colon"
        if index == 0 and not (self.state.generic and self.state.tokens.norms[chunk.start] in MINE):
            self._next_sentence(part, polar, near)
            return
        if self.state.excepting:
            fault = next((cue for cue in polar if cue.kind == "fault"), None)
            for mention in self.state.last if fault is not None else []:
                if {status for status, *_ in mention.statuses} <= {"absent"}:
                    mention.statuses = []
                    put(mention, "present", fault)  # type: ignore[arg-type]
            return
        if self.state.generic and self.state.tokens.norms[chunk.start] in MINE and first.start - chunk.start <= _NEAR:
            for mention in self.state.generic:
                mention.cues = [view(cue, mention, "orphan") for cue in part.cues]
                judge(mention)
            self.state.generic = []
            return
        was = chunk.joiner in THEN and self.state.past
        listed = chunk.link == "weak" and first.start - chunk.start <= _NEAR + 1
        for mention in self.state.waiting or (self.state.key if colon and self.state.key else self.state.last):
            if not mention.statuses:
                if near or colon or (listed and mention in self.state.waiting):
                    how = "key" if colon or mention in self.state.waiting else "orphan"
                    mention.cues.extend(view(cue, mention, how) for cue in part.cues)
                    judge(mention)
            elif near or (was and first.kind == "done" and _had_only(mention, "present")):
                self._add(mention, part, polar)
        if not near and not colon:
            self.state.last = []

    def _next_sentence(self, part: Part, polar: list[Cue], near: bool) -> None:
        """A sentence that begins with a cue may answer, or go on about, the one before."""
        opening = self.state.tokens.norms[part.chunk.start]
        if self.state.key:
            for mention in self.state.key:
                if not mention.statuses and (near or self.state.asked):
                    mention.cues.extend(view(cue, mention, "key") for cue in part.cues)
                    judge(mention)
            return
        last, self.state.last = self.state.last, []
        if not near or (opening not in BACK and not (polar[0].start == part.chunk.start and polar[0].kind == "done")):
            return
        if polar[0].rule.id.startswith("done.new") or part.chunk.end - part.chunk.start > _SHORT:
            return
        for mention in last:
            if mention.statuses:
                self._add(mention, part, polar)
        self.state.last = last

    def _add(self, mention: Mention, part: Part, polar: list[Cue]) -> None:
        """What a later chunk adds to a mention that has a status: work, need, doubt, or a fault despite the work."""
        had: set[Status] = {status for status, *_ in mention.statuses}
        if mention.rule.kind != "part" and mention.rule.default not in ("present", "absent"):
            return
        placed = self.state.tokens.norms[part.chunk.start] in PLACED
        contrast = part.chunk.joiner in CONTRAST or any(cue.rule.kind == "still" for cue in part.cues)
        for cue in polar:
            if not reaches(view(cue, mention, "orphan"), mention):
                continue
            if cue.kind == "due" and "due" not in had and self._object_free(cue, part):
                put(mention, "due", cue)
            elif cue.kind == "done" and had == {"present"} and self._works(cue, part):
                mention.statuses = []
                put(mention, "done", cue)
            elif cue.kind == "hedge" and had == {"done"}:
                put(mention, "possible", cue)
            elif cue.kind == "fault" and (contrast or placed) and had <= {"done", "absent"}:
                if mention.rule.kind != "part" and not placed:
                    mention.statuses = []
                put(mention, "present", cue)
            elif (cue.kind == "sound" and placed and had <= {"done", "present"}) or (
                cue.kind == "sound"
                and part.chunk.joiner in CONTRAST
                and had == {"done"}
                and part.chunk.end - part.chunk.start <= _BRIEF
            ):
                put(mention, "absent", cue)
            else:
                continue
            break

    def _object_free(self, cue: Cue, part: Part) -> bool:
        """Whether a need names no other thing as its object ("it needs a second go")."""
        wanting = self.state.tokens.norms[cue.end - 1] in WANTING
        return not wanting or self.state.filled(part, cue.end, part.chunk.end)

    def _works(self, cue: Cue, part: Part) -> bool:
        """Whether a cue of work is told of what went before: "new" only where it stands alone ("both new")."""
        return not cue.rule.id.startswith("done.new") or part.chunk.end - part.chunk.start <= 3


def _had_only(mention: Mention, status: Status) -> bool:
    """Whether a mention has this status and no other."""
    return bool(mention.statuses) and all(told == status for told, *_ in mention.statuses)
