"""From text to claims: tokens, mentions and cues, sentences, scope, time, grade, one claim a subject and status."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence, Set
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeAlias

from pipeline.nlp.dating import Dater
from pipeline.nlp.flow import Flow
from pipeline.nlp.grade import GRADED, GRADES, grade_of
from pipeline.nlp.mentions import Bearing, Cue, Finder, Mention
from pipeline.nlp.merge import merge
from pipeline.nlp.run_on import RunOn
from pipeline.nlp.scope import Scope
from pipeline.nlp.segments import Sentence, segment
from pipeline.nlp.spelling import Spelling
from pipeline.nlp.status import limit
from pipeline.nlp.tokens import Normaliser, Tokens, tokenize
from pipeline.nlp.when import When, find_times
from pipeline.schemas.language import Language
from pipeline.types import Claim, Grade, Status

_BREAKS = {"except": "except", "boundary": "with"}
_AFTERTHOUGHT = 3  # words of a chunk that only grades the one before
_CONFIDENCE: dict[Status, float] = {"present": 0.8, "absent": 0.8, "done": 0.85, "due": 0.8, "possible": 0.7}

Told: TypeAlias = "tuple[list[Mention], list[Cue], list[When]]"
Said: TypeAlias = "tuple[Status, str, int, int]"  # one of a mention's statuses
_NOTHING: Told = ([], [], [])


@dataclass(slots=True)
class Read:
    """A text as the rules have read it. `told`: start of a sentence -> its mentions with a status, cues and times;
    `dater`: tells when its work was done."""

    tokens: Tokens
    sentences: list[Sentence]
    mentions: list[Mention]
    cues: list[Cue]
    told: dict[int, Told]
    dater: Dater

    def around(self, sentence: Sentence) -> Told:
        """Mentions that have a status, cues and times of a sentence."""
        return self.told.get(sentence.start, _NOTHING)


class Reader:
    """Reads claims by the rules of a language."""

    def __init__(self, language: Language, run_on: RunOn | None = None) -> None:
        self._run_on = run_on or RunOn(RunOn.nothing())
        self._finder = Finder(language)
        self._normaliser = Normaliser(Spelling(self._finder.words()))
        self._scope = Scope()
        self._limits = {subject: frozenset(statuses) for subject, statuses in language.limits.items()}
        self._events = frozenset(language.events)
        rules = (rule for some in language.subjects.values() for rule in some)
        self._telling = {rule.id: rule.telling for rule in rules if rule.telling}

    def read_claims(self, text: str, saved_on: date, mileage: int | None = None) -> tuple[Claim, ...]:
        """Claims of a text, one a subject and status; offsets are those of `text`.

        `mileage`: the odometer reading now, in the advert's unit, for "20,000 miles ago".
        """
        read = self.read_rules(text, saved_on, mileage)
        return merge(self._settled(self._by_rules(read)), self._telling)

    def _by_rules(self, read: Read, without: Set[str] = frozenset()) -> list[Claim]:
        """Claims as the rules make them, in order of the text, those of some subjects left out."""
        return [
            claim_of(read, sentence, mention, said, mention.subject in self._limits, _CONFIDENCE[said[0]])
            for sentence in read.sentences
            for mention in read.around(sentence)[0]
            if mention.subject not in without
            for said in mention.statuses
        ]

    def _settled(self, claims: list[Claim]) -> list[Claim]:
        """Claims without the events that were put right since: those are `done` alone."""
        mended = {claim.subject for claim in claims if claim.status == "done"} & self._events
        return [claim for claim in claims if claim.status != "present" or claim.subject not in mended]

    def read_rules(self, text: str, saved_on: date, mileage: int | None = None) -> Read:
        """What the rules make of a text, with the sentences in which they saw nothing."""
        return self.read_each([(text, saved_on, mileage)])[0]

    def read_each(self, texts: Sequence[tuple[str, date, int | None]]) -> list[Read]:
        """What `read_rules` makes of several texts."""
        cut = [tokenize(text, self._normaliser) for text, _, _ in texts]
        found = [self._finder.find(tokens) for tokens in cut]  # in a row: more of the patterns stays in the caches
        divided = self._run_on.divide([tokens.norms for tokens in cut])
        return [
            self._read(tokens, said, gaps, saved_on, mileage)
            for tokens, said, gaps, (_, saved_on, mileage) in zip(cut, found, divided, texts, strict=True)
        ]

    def _read(
        self,
        tokens: Tokens,
        found: tuple[list[Mention], list[Cue]],
        gaps: tuple[frozenset[int], frozenset[int]],
        saved_on: date,
        mileage: int | None,
    ) -> Read:
        """What the rules make of tokens. `gaps`: with which a sentence or a chunk begins, as `RunOn.divide` says."""
        mentions, every = found
        headings: dict[int, tuple[int, Bearing]] = {}
        breaks: dict[int, str] = {}
        cues: list[Cue] = []
        for cue in every:
            kind = cue.rule.kind
            if kind == "heading":
                if cue.end > headings.get(cue.start, (0, None))[0]:
                    headings[cue.start] = cue.end, cue.rule
                continue
            if kind in _BREAKS:
                breaks[cue.start] = _BREAKS[kind]
            if kind != "boundary":
                cues.append(cue)
        spans = [(one.start, one.end) for some in (mentions, every) for one in some if one.end - one.start > 1]
        inside = {place for start, end in spans for place in range(start + 1, end - 1)}
        stops, pauses = gaps
        if stops or pauses:
            within = {place for start, end in spans for place in range(start + 1, end)}
            stops, pauses = stops - within, pauses - within
        sentences = segment(tokens, headings, breaks, inside, stops, pauses)
        times = find_times(tokens, saved_on, mileage)
        starts = [sentence.start for sentence in sentences]
        dealt: list[Told] = [([], [], []) for _ in sentences]
        groups: tuple[list[Any], ...] = (mentions, cues, times)
        for number, items in enumerate(groups):
            for item in items:
                place = bisect_right(starts, item.start) - 1
                if place >= 0 and item.start < sentences[place].end:
                    dealt[place][number].append(item)
        sayings: dict[int, Told] = {}
        flow = Flow(tokens, self._events, mileage)
        for number, (sentence, (some, near, when)) in enumerate(zip(sentences, dealt, strict=True)):
            if some or near or when:
                told = flow.read(sentence, number, self._scope.parts(tokens, sentence, some, near, when))
                sayings[sentence.start] = told, near, when
        for start, (told, near, when) in sayings.items():
            for mention in told:
                if mention.subject in self._limits:
                    limit(mention, self._limits[mention.subject])
            sayings[start] = [mention for mention in told if mention.statuses], near, when
        named = {
            sentence.start: {mention.subject for mention in some}
            for sentence, (some, _, when) in zip(sentences, dealt, strict=True)
            if when
        }
        dater = Dater(tokens, times, sentences, sayings, named, self._events, saved_on, mileage)
        return Read(tokens, sentences, mentions, every, sayings, dater)


def claim_of(
    read: Read,
    sentence: Sentence,
    mention: Mention,
    said: Said,
    limited: bool,
    confidence: float,
) -> Claim:
    """What is `said` of a mention as a claim, with its grade (none of a `limited` subject), time and quote."""
    tokens = read.tokens
    mentions, cues, _ = read.around(sentence)
    status, rule, start, end = said
    grade: Grade = "plain"
    if cues and not limited and status in GRADED:
        grade = grade_of(start, end, _near(sentence, mention, mentions, cues, end))
    at_mileage = at_year = None
    if status in ("done", "due"):
        at_mileage, at_year, end = read.dater.date(sentence, mention, status, end)
    first = start
    if mention.start < start:
        first = min(start, max(sentence.chunks[mention.chunk].start, mention.start))
    quote_start, quote_end = tokens.starts[first], tokens.ends[max(end, mention.end) - 1]
    return Claim(
        subject=mention.subject,
        status=status,
        grade=grade,
        quote=tokens.text[quote_start:quote_end],
        start=quote_start,
        end=quote_end,
        rule=mention.rule.id if rule == mention.rule.id else f"{mention.rule.id}+{rule}",
        at_mileage=at_mileage,
        at_year=at_year,
        confidence=confidence,
        detail=mention.rule.detail,
    )


def _near(sentence: Sentence, mention: Mention, mentions: list[Mention], cues: list[Cue], end: int) -> list[Cue]:
    """Grade cues of the mention's chunk, and of a short one after it that names nothing ("rattles, slightly")."""
    grades = [cue for cue in cues if cue.rule.kind in GRADES]
    if not grades:
        return grades
    chunk = sentence.chunks[mention.chunk]
    stop = max(chunk.end, end)
    if mention.chunk + 1 < len(sentence.chunks):
        after = sentence.chunks[mention.chunk + 1]
        if after.end - after.start <= _AFTERTHOUGHT and all(m.chunk != mention.chunk + 1 for m in mentions):
            stop = max(stop, after.end)
    return [cue for cue in grades if chunk.start <= cue.start < stop]
