"""What is kept while the chunks of an advert are read in turn, and what is asked of a chunk."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, field

from pipeline.nlp.lexicon import AGO, AT, BETWEEN, DATING, FILL, SINCE, VERBS
from pipeline.nlp.mentions import CueView, Mention
from pipeline.nlp.scope import Part
from pipeline.nlp.tokens import Tokens
from pipeline.nlp.when import When


@dataclass(slots=True)
class State:
    """What earlier chunks left for later ones."""

    tokens: Tokens
    events: Set[str]
    mileage: int | None
    last: list[Mention] = field(default_factory=list)  # mentions of the last chunk that had some
    key: list[Mention] = field(default_factory=list)  # before a colon, in a question or in a sentence of their own
    waiting: list[Mention] = field(default_factory=list)  # bare members of a list whose cue may follow
    carried: list[CueView] = field(default_factory=list)  # cues before the head of a list, for its later members
    head_rule: str | None = None  # a finding of work that heads a list: "new leg section, inner wing, lamp"
    trail: list[CueView] = field(default_factory=list)  # cues of the head, for bare members that trail it
    topic: CueView | None = None  # what the words before a colon say of the bare parts after it
    dated_list: When | None = None  # the time before a colon: "148k: clutch and flywheel"
    generic: list[Mention] = field(default_factory=list)  # what was said of the model, until "mine was done"
    denied: bool = False  # a negation stands before the head of a list
    or_ahead: bool = False  # the list goes on to an "or"
    excepting: bool = False
    past: bool = False  # the last chunk with mentions is told in the past
    asked: bool = False  # the key stood in a question
    line: int = -1
    number: int = -1
    asked_number: int = -2

    def begin(self, line: int, number: int) -> None:
        """A new sentence: lists end; what was named before holds within a line only."""
        self.waiting, self.carried, self.trail, self.topic, self.dated_list = [], [], [], None, None
        self.denied = self.excepting = False
        self.head_rule = None
        if line != self.line or number != self.number + 1:
            self.last, self.key, self.generic = [], [], []
        self.line, self.number = line, number

    def bare(self, mention: Mention, part: Part, most: int = 2, stop: int | None = None) -> bool:
        """Whether the chunk (up to token `stop`) holds little besides the mention: a member of a list."""
        norms = self.tokens.norms[part.chunk.start : stop or part.chunk.end]
        if not VERBS.isdisjoint(norms):
            return False
        return len(norms) - len(mention.words) - sum(map(BETWEEN.__contains__, norms)) <= most

    def filled(self, part: Part, start: int, end: int) -> bool:
        """Whether tokens start..end name nothing: only function words and cues."""
        cued = {place for cue in part.cues for place in range(cue.start, cue.end)}
        norms = self.tokens.norms
        return all(place in cued or norms[place] in FILL or not norms[place].isalpha() for place in range(start, end))

    def dated(self, mention: Mention, part: Part) -> When | None:
        """The time of a part with no cue ("cambelt 2022"), unless it says since when a thing is so."""
        norms = self.tokens.norms
        for when in part.times:
            after, before = when.start - mention.end, mention.start - when.end
            if not (0 <= after <= 5 or 0 <= before <= 1) or not self.tells(when):
                continue
            if not self.bare(mention, part, 3 + when.end - when.start, max(mention.end, when.end)):
                continue
            if mention.sentence == 0 and norms[when.start - 1 if when.start else 0] not in AT:
                continue  # an advert opens with the vehicle's own year and mileage
            if DATING.isdisjoint(norms[when.end : when.end + 1]):
                return when
        return None

    def tells(self, when: When, listed: bool = False) -> bool:
        """Whether a bare time says when work was done: a year, a month, or a reading that is told as one."""
        norms = self.tokens.norms
        before = norms[when.start - 1] if when.start else ""
        if before in SINCE:
            return False
        if norms[when.start] == "same":
            return True
        if when.mileage is None or when.year is not None or before in AT or norms[when.end - 1] in AGO:
            return True
        if self.mileage is None:
            return listed
        return when.mileage < 0.99 * self.mileage


def put_done(mention: Mention, when: When) -> None:
    """Work told by its time alone."""
    if not mention.has("done"):
        mention.statuses.append(("done", "when", min(mention.start, when.start), max(mention.end, when.end)))
