"""Reads the chunks of an advert in turn: lists, keys, headings, exceptions; gives mentions their statuses."""

from __future__ import annotations

from collections.abc import Set

from pipeline.nlp.follow import Follower
from pipeline.nlp.lexicon import CONTRAST, DENIALS, PAST, RELATIVE, SPARE, THEN
from pipeline.nlp.mentions import Bearing, Cue, CueView, Mention
from pipeline.nlp.scope import Part, scope_cue
from pipeline.nlp.segments import Sentence
from pipeline.nlp.state import State, put_done
from pipeline.nlp.status import POLAR, judge, put, put_own, view
from pipeline.nlp.tokens import Tokens
from pipeline.types import Status

_ADVISED = "fault.advised"
_LIST = 8  # members of a list that are looked at for an "or"
_ASKED = 5  # words of a question that is answered at once ("Rust? None")
_KEY = 4  # words of a sentence that names what the next one speaks of


class Flow:
    """Reads the sentences of one advert in turn and gives their mentions statuses."""

    def __init__(self, tokens: Tokens, events: Set[str], mileage: int | None) -> None:
        self.state = State(tokens, events, mileage)
        self._follow = Follower(self.state)

    def read(self, sentence: Sentence, number: int, parts: list[Part]) -> list[Mention]:
        """Mentions of the sentence; `statuses` may still grow with the next sentence."""
        state = self.state
        state.begin(sentence.line, number)
        mentions: list[Mention] = []
        for index, part in enumerate(parts):
            self._enter(part)
            for mention in part.mentions:
                mention.sentence, mention.chunk = number, index
            if part.dropped:
                state.generic = part.dropped
                for mention in part.dropped:
                    mention.sentence, mention.chunk = number, index
            if part.mentions and self._goes_on(part):
                part.cues.extend(Cue(scope_cue(m), m.start, m.end, m.negated) for m in part.mentions)
                part.mentions = []
            if part.mentions:
                state.or_ahead = _or_ahead(parts, index)
                self._mentions(part, sentence)
                mentions.extend(part.mentions)
            else:
                self._follow.read(part, index)
        for mention in state.waiting if state.trail else []:
            mention.cues.extend(CueView(one.cue, one.distance, "list") for one in state.trail)
            judge(mention)
        for part in parts:
            if part.dropped:
                mentions.extend(mention for mention in part.dropped if mention.statuses)
        _resolve(mentions, parts, state)
        self._close(sentence, number, mentions)
        return mentions

    def _close(self, sentence: Sentence, number: int, mentions: list[Mention]) -> None:
        """What the sentence leaves as a key for the next one."""
        state, size = self.state, sentence.end - sentence.start
        state.asked = sentence.question
        if sentence.question:
            for mention in mentions:
                mention.statuses = []
            before = state.key if state.asked_number == number - 1 else []
            state.asked_number = number
            state.key = [*before, *mentions] if size <= _ASKED else []
            state.last = state.key
        elif mentions and size <= _KEY and not any(mention.statuses for mention in mentions):
            state.key = mentions
        elif not mentions or size > _KEY:
            state.key = []

    def _enter(self, part: Part) -> None:
        state, link, joiner = self.state, part.chunk.link, part.chunk.joiner
        if link == "except":
            state.excepting = True
        elif link in ("strong", "start"):
            state.excepting = False
        if link != "weak":
            state.head_rule = None
        if joiner == "(" and state.carried and state.carried[0].cue.rule.id == _ADVISED:
            return  # "one advisory (ball joint)"
        if link not in ("weak", "colon"):
            state.carried, state.denied = [], False
        if link == "strong" and joiner in CONTRAST:
            state.waiting = []

    def _mentions(self, part: Part, sentence: Sentence) -> None:
        state, link = self.state, part.chunk.link
        weak = link == "weak"
        if state.denied and weak:
            self._deny(part)
        if link == "colon":
            self._open_topic()
        decided: list[Mention] = []
        for mention in part.mentions:
            judge(mention)
            if mention.rule.kind != "part":
                if sentence.heading is not None:
                    self._headed_finding(mention, sentence.heading)
            elif not mention.statuses:
                self._undecided(mention, part, sentence)
            if mention.statuses:
                decided.append(mention)
        if decided:
            self._share(decided, part, weak)
            state.waiting = []
        else:
            bare = [mention for mention in part.mentions if mention.rule.kind == "part"]
            state.waiting = [*state.waiting, *bare] if weak else bare
        state.denied = self._carries_denial(part) or (state.denied and weak)
        state.last = part.mentions
        state.past = not PAST.isdisjoint(state.tokens.norms[part.chunk.start : part.chunk.end])
        if link == "start" or (link == "strong" and not decided):
            state.key = part.mentions
        elif link == "colon":
            state.key = []

    def _goes_on(self, part: Part) -> bool:
        """Whether a chunk of weak findings goes on about the part before it ("box rebuilt but still whines")."""
        state, chunk = self.state, part.chunk
        if chunk.link not in ("strong", "weak"):
            return False
        if chunk.joiner not in CONTRAST and state.tokens.norms[chunk.start] not in RELATIVE:
            return False
        if any(m.rule.kind != "weak" for m in part.mentions):
            return False
        if not any(m.rule.kind == "part" and m.sentence == state.number for m in state.last):
            return False
        return state.filled(part, chunk.start, part.mentions[0].start)

    def _open_topic(self) -> None:
        """A weak finding before a colon ("Rust: both arches") is told of the parts after it."""
        if not self.state.last or any(m.rule.kind != "weak" or m.negated for m in self.state.last):
            return
        if any(m.sentence != self.state.number for m in self.state.last):
            return
        weak = self.state.last[0]
        self.state.topic = view(Cue(scope_cue(weak), weak.start, weak.end), weak, "list")
        for mention in self.state.last:
            mention.statuses = []

    def _undecided(self, mention: Mention, part: Part, sentence: Sentence) -> None:
        """A part without a cue of its own: it takes one from the list, the exception, the heading or a date."""
        heading = sentence.heading
        dated = self.state.dated(mention, part)
        if self.state.carried and part.chunk.link in ("weak", "colon") and self.state.bare(mention, part):
            mention.cues.extend(CueView(one.cue, one.distance, "list") for one in self.state.carried)
            judge(mention)
        if not mention.statuses and self.state.topic is not None and self.state.bare(mention, part, 4):
            if any(cue.rule.kind == "negation" for cue in part.cues):
                cue = self.state.topic.cue
                self.state.topic = CueView(Cue(cue.rule, cue.start, cue.end, not cue.negated), -1, "list")
            mention.cues.append(self.state.topic)
            judge(mention)
        if mention.statuses:
            return
        if self.state.excepting:
            mention.excepted = True
            if self._governing() != {"done"}:
                put_own(mention, "present", "except")
        elif dated is not None and (heading is None or heading.status != "due"):
            put_done(mention, dated)
        elif self.state.dated_list is not None and self.state.bare(mention, part, 3):
            put_done(mention, self.state.dated_list)
        elif (
            heading is not None and heading.status is not None and self.state.bare(mention, part, SPARE[heading.status])
        ):
            put_own(mention, heading.status, heading.id)
        elif part.chunk.link == "with" and self.state.trail and self.state.bare(mention, part, 4):
            mention.cues.extend(CueView(one.cue, one.distance, "list") for one in self.state.trail)
            judge(mention)
        elif self.state.head_rule is not None and self.state.bare(mention, part):
            put_own(mention, "done", self.state.head_rule)
        elif mention.rule.bare is not None and not mention.negated and not self._answered(mention):
            put_own(mention, mention.rule.bare)

    def _governing(self) -> set[Status]:
        """Statuses of what stands before an exception."""
        return {status for mention in self.state.last for status, *_ in mention.statuses}

    def _answered(self, mention: Mention) -> bool:
        """Whether an unknown cue (work not done, need denied) was told of the part."""
        return any(one.cue.kind in ("undone", "undue") for one in mention.cues)

    def _headed_finding(self, mention: Mention, heading: Bearing) -> None:
        if not mention.statuses or mention.negated:
            return
        had = {status for status, *_ in mention.statuses}
        if had == {"present"} and heading.status == "done":
            mention.statuses = []
            put_own(mention, "done", heading.id)
        elif had == {"present"} and heading.status == "due":
            put_own(mention, "due", heading.id)

    def _share(self, decided: list[Mention], part: Part, weak: bool) -> None:
        """Cues after the last member go back to the members before it, cues before the first go on."""
        state, head = self.state, decided[-1]
        if head.rule.kind != "part":
            state.head_rule = head.rule.id if head.rule.kind == "finding" and head.has("done") else None
            state.carried, state.trail = [], []
            return
        if state.waiting and weak:
            after = [one for one in head.cues if one.distance > 0 and one.how == "own" and one.cue.kind in POLAR]
            for mention in state.waiting:
                if after:
                    mention.cues.extend(CueView(one.cue, one.distance, "list") for one in after)
                    judge(mention)
                elif part.times and head.statuses[-1][1] == "when":
                    put_done(mention, part.times[0])
        state.head_rule = None
        state.carried = [
            one for one in head.cues if one.distance <= 0 and one.how in ("own", "list") and one.cue.kind in POLAR
        ]
        state.trail = [one for one in head.cues if one.cue.kind == "done"] if head.has("done") else []

    def _deny(self, part: Part) -> None:
        """A negation before a list bears on its bare members, the last of which may hold the fault."""
        if any(cue.rule.kind == "negation" for cue in part.cues):
            return
        joined = part.chunk.joiner in ("or", "nor") or self.state.or_ahead
        for mention in part.mentions:
            graded = any(cue.rule.kind in ("slight", "heavy") for cue in part.cues)
            fault = mention.rule.kind != "part" and mention.rule.default == "present"
            fault = fault and self.state.tokens.norms[mention.words[0]] not in DENIALS
            if fault and self.state.bare(mention, part) and (joined or not graded):
                mention.negated = True
        if joined or len(part.polar()) == 1:
            for cue in part.cues:
                if cue.rule.kind == "fault" and not cue.negated and (joined or part.chunk.end - cue.end <= 1):
                    cue.negated = True
                    break

    def _carries_denial(self, part: Part) -> bool:
        """Whether a chunk denies all that it names, by a negation or in the words of a finding ("never towed")."""
        norms = self.state.tokens.norms
        denials: list[Mention] = []
        if self.state.or_ahead:
            denials = [m for m in part.mentions if m.rule.kind != "part" and norms[m.words[0]] in DENIALS]
        denied = [c for c in part.cues if c.rule.kind == "negation" and c.rule.direction != "backward"]
        if not denials and not denied:
            return False
        return all(m.rule.kind == "part" or m.negated or m in denials for m in part.mentions)


def _or_ahead(parts: list[Part], index: int) -> bool:
    """Whether the list that the chunk stands in goes on to an "or", as a list of things denied does."""
    for part in parts[index + 1 : index + 1 + _LIST]:
        if part.chunk.link != "weak":
            return False
        if part.chunk.joiner in ("or", "nor"):
            return True
    return False


def _resolve(mentions: list[Mention], parts: list[Part], state: State) -> None:
    """A fault that was and, later in the sentence, work on the same subject: the work removed it, unless it stays.
    Of `events`, such as an accident, any work told after it is the mending."""
    faults = [mention for mention in mentions if mention.has("present")]
    if not faults or any(cue.rule.kind == "still" for part in parts for cue in part.cues):
        return
    for mention in faults:
        if mention.subject in state.events:
            work = [cue for part in parts[mention.chunk :] for cue in part.cues if cue.kind == "done"]
            if work and work[-1].start >= mention.end:
                mention.statuses = []
                put(mention, "done", work[0] if work[0].start >= mention.end else work[-1])
            continue
        later = next(
            (m for m in mentions if m.start > mention.start and m.subject == mention.subject and m.has("done")), None
        )
        if later is None:
            continue
        chunk = parts[mention.chunk].chunk
        joined = {part.chunk.joiner for part in parts[mention.chunk + 1 : later.chunk + 1]}
        if joined & THEN or not PAST.isdisjoint(state.tokens.norms[chunk.start : chunk.end]):
            mention.statuses = [told for told in mention.statuses if told[0] != "present"]
