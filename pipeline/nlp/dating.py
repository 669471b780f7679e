"""Which of the times that a text tells a piece of work has: its own, that of its list, or the one told last."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence, Set
from datetime import date
from operator import attrgetter
from typing import Any, NamedTuple

from pipeline.nlp.lexicon import word_set
from pipeline.nlp.mentions import Mention
from pipeline.nlp.segments import Chunk, Sentence
from pipeline.nlp.tokens import Tokens
from pipeline.nlp.when import When, settle
from pipeline.types import Status

_BESIDE = 3  # words between two times that tell of one occasion
_AGAIN = 7  # words between the times of work that was done more than once
_OPENING = 8  # words between a time and the colon of the list that it opens
_BACK = 40  # words back to the time that "while it was apart" means
_NEAR = 16  # words from a piece of work to such a phrase
_BRIEF = 7  # words of a sentence that adds one more thing to what was done
_LEADS = word_set("so then while and")  # a chunk that goes on with what the one before told
_LEANS = word_set("then same also too myself it along there together w with")
_EVERY = word_set("every each")
_SPANS = word_set(
    "year month week day season time birthday service mot spring summer autumn fall winter other few couple two three "
    "four five six ten january february march april may june july august september october november december"
)
_CLOSES = word_set("; )")  # what went before is told to its end
_RESTORED = word_set("restored restoration recommissioned recomissioned resto refurbishment overhaul frame-off")
_IN = word_set("in during around")
_STOPS = frozenset({".", "!", "?", "\n"})
_POINTS = word_set("same that")  # begin what points back to a time
_AHEAD = word_set("will due next need want needs wants")
_LATEST = word_set("last latest recently")
_SINCE = word_set("since from until till to for")
_APART = word_set("out apart off there open bit piece stripped at up down dismantled")
_AS_WELL = word_set("painted resprayed welded done rebuilt restored replaced in changed") | _APART
_WHO = word_set("it they he she we i everything all that this engine gearbox box motor head was were")
_SOON = word_set("straight right soon shortly immediately directly")
_PAIRS = frozenset({
    ("with", "it"), ("with", "them"), ("then", "too"), ("then", "also"), ("then", "as"), ("after", "that"),
    ("was", "then"), ("were", "then"),
})  # fmt: skip
_OPENS = word_set("while whilst when with then after was were afterwards too well also ditto") | _SOON
_MENDERS = word_set("insurance insurer insurers bodyshop")
_WENT = word_set(
    "went let blew failed broke snapped seized burst died lost split cracked gave popped overheated boiled dropped "
    "threw started began ate blown gone leaked"
)
_NOTHING: tuple[list[Mention], list[Any], list[When]] = ([], [], [])
_start = attrgetter("start")


class Dated(NamedTuple):
    """Odometer reading and year of a piece of work, and the token where the words that tell of it end."""

    mileage: int | None
    year: int | None
    end: int


class Dater:
    """Dates the work that a text tells. `times`: those of the whole text, in order; `told`: start of a sentence -> its
    mentions, cues and times; `named`: the subjects of one with times; `events`: subjects of what
    befalls a vehicle."""

    def __init__(
        self,
        tokens: Tokens,
        times: Sequence[When],
        sentences: Sequence[Sentence],
        told: Mapping[int, tuple[list[Mention], list[Any], list[When]]],
        named: Mapping[int, Set[str]],
        events: Set[str],
        saved_on: date,
        mileage: int | None,
    ) -> None:
        self._tokens, self._times, self._sentences, self._told = tokens, times, sentences, told
        self._starts = [sentence.start for sentence in sentences] if times else []
        self._named, self._events, self._saved_on, self._mileage = named, events, saved_on, mileage

    def date(self, sentence: Sentence, mention: Mention, status: Status, end: int) -> Dated:
        """When the work `mention` was done or is due. `end`: of the words that say so."""
        if not self._times:
            return Dated(None, None, end)
        chunk = sentence.chunks[mention.chunk]
        times = self._told.get(sentence.start, _NOTHING)[2]
        chosen = self._chosen(sentence, mention, status) if times else []
        dated = self._settled(chosen, status, min(end, sentence.end) if chosen else end, sentence.end)
        if status != "done" or dated.year is not None:
            return dated
        if dated.mileage is None and self._leans_back(sentence, chunk, mention):
            return self._settled(self._told_last(mention.start), status, end, end)
        if not times or not any(settle(when, False, self._saved_on)[1] for when in times):
            return dated._replace(year=self._befallen(sentence, mention))
        return dated

    def _settled(self, chosen: Sequence[When], status: Status, end: int, stop: int) -> Dated:
        at_mileage = at_year = None
        due = status == "due"
        # "In the spring and summer of 2023": the year is told last.
        dated = max((number for number, when in enumerate(chosen) if when.year is not None), default=0)
        chosen = [w for number, w in enumerate(chosen) if number >= dated or w.month is None or w.year or w.mileage]
        for when in chosen:
            got_mileage, got_year = settle(when, due, self._saved_on)
            if got_mileage is not None and got_mileage > (at_mileage or 0) and (due or self._fits(got_mileage)):
                at_mileage = got_mileage
                end = max(end, when.end)
            if got_year is not None and (at_year is None if due else (at_year or 0) < got_year <= self._saved_on.year):
                at_year = got_year
                end = max(end, when.end)
        return Dated(at_mileage, at_year, min(end, stop) if chosen else end)

    def _fits(self, reading: int) -> bool:
        return self._mileage is None or reading <= self._mileage * 1.02

    def _chosen(self, sentence: Sentence, mention: Mention, status: Status) -> list[When]:
        """The times of the sentence that are the mention's."""
        norms = self._tokens.norms
        mentions, _, times = self._told[sentence.start]
        chunk = sentence.chunks[mention.chunk]
        apart = [m for m in mentions if m.words != mention.words]
        following = next((m for m in apart if m.start >= mention.end), None)
        stop = sentence.end
        if following is not None:
            stop = following.start if following.chunk == mention.chunk else sentence.chunks[following.chunk].start
        since = max([chunk.start, *(m.end for m in apart if m.chunk == mention.chunk and m.end <= mention.start)])
        own = [when for when in times if since <= when.start < stop]
        if self._regular(chunk.start, chunk.end):
            latest = next((number for number, when in enumerate(own) if self._latest(when)), len(own))
            return self._together(own[latest:])
        if own and norms[own[-1].start] in _POINTS and norms[own[-1].end : own[-1].end + 1] == ["as"]:
            # "The same week as the clutch, 229,400": the time of that, when it follows.
            own = [when for when in times if when.start >= own[-1].end] or own
        # "The same visit the rack was changed (June)": the time of its own.
        own = [when for when in own if norms[when.start] not in _POINTS] or own
        if own:
            return self._together(own)
        before = [when for when in times if when.end <= chunk.start]
        if before and before[0].start - sentence.start <= 1 and not self._vehicles(sentence, before[0]):
            return self._together(before)
        if following is not None and following.has(status):
            later = [when for when in times if when.start >= stop][:2]
            if later and ";" not in norms[mention.end : later[0].start]:
                return self._together(later)
        return self._carried(sentence, mention, times) if status == "done" else []

    def _vehicles(self, sentence: Sentence, when: When) -> bool:
        """Whether a time is the vehicle's own: the year with which an advert opens."""
        return sentence is self._sentences[0] and when.start == sentence.start and when.end == when.start + 1

    def _carried(self, sentence: Sentence, mention: Mention, times: Sequence[When]) -> list[When]:
        """The time told before a piece of work that leans on it: "came up at 80k so the belt was done then", or a list
        that follows it ("restored in 2014: sills, floors").
        """
        norms = self._tokens.norms
        before = [when for when in times if sentence.start <= when.start and when.end <= mention.start]
        if not before:
            return []
        between = norms[before[-1].end : mention.start]
        told = self._group(before)
        if ":" in between or ("(" in between[:2] and ")" not in between) or between[:1] == ["for"]:
            return told if self._stands(told) else []
        chunk = sentence.chunks[mention.chunk]
        leans = not _LEANS.isdisjoint(norms[chunk.start : chunk.end])
        if leans or (chunk.joiner in _LEADS and (chunk.joiner == "so" or _CLOSES.isdisjoint(between))):
            return told
        colon = next((at for at in range(mention.start - 1, sentence.start, -1) if norms[at] == ":"), 0)
        heads = [when for when in before if when.end <= colon]
        if heads and colon - heads[-1].end <= _OPENING and self._stands(heads[-1:]):
            return self._group(heads)
        return []

    def _group(self, before: Sequence[When]) -> list[When]:
        """The last of the times and what stands beside it."""
        kept = [before[-1]]
        for when in reversed(before[:-1]):
            between = self._tokens.norms[when.end : kept[0].start]
            if len(between) > _BESIDE or not _STOPS.isdisjoint(between):
                break
            kept.insert(0, when)
        return kept

    def _stands(self, told: Sequence[When]) -> bool:
        """Whether a time is no mere start of the span in which work was done ("since I bought it in 2012: ...")."""
        if "since" not in self._tokens.norms[max(0, told[0].start - 6) : told[0].start]:
            return True
        return settle(told[0], False, self._saved_on)[1] == self._saved_on.year

    def _together(self, times: Sequence[When]) -> list[When]:
        """The first of the times and what stands beside it ("at 80k in 2019"), or tells of doing it again."""
        norms = self._tokens.norms
        kept: list[When] = []
        for when in times:
            if kept:
                between = norms[kept[-1].end : when.start]
                again = "again" in between and _AHEAD.isdisjoint(between)
                if ";" in between or len(between) > (_AGAIN if again else _BESIDE):
                    break
            kept.append(when)
        return kept

    def _regular(self, start: int, end: int) -> bool:
        """Whether tokens start..end tell of work done again and again ("oil every 5k", "waxed every autumn")."""
        norms = self._tokens.norms
        return not _EVERY.isdisjoint(norms[start:end]) and any(
            norms[at] in _EVERY and (norms[at + 1][0].isdecimal() or norms[at + 1] in _SPANS)
            for at in range(start, min(end, len(norms) - 1))
        )

    def _latest(self, when: When) -> bool:
        """Whether a time is that of the latest of regular work ("every 8k, last at 163k", "in May every year")."""
        norms = self._tokens.norms
        if not _LATEST.isdisjoint(norms[max(0, when.start - 3) : when.start + 1]):
            return True
        return when.month is not None and norms[when.end : when.end + 2] in (["every", "year"], ["each", "year"])

    def _leans_back(self, sentence: Sentence, chunk: Chunk, mention: Mention) -> bool:
        """Whether work is said to have been done on the occasion told last ("while it was apart")."""
        norms = self._tokens.norms
        stop = min(sentence.end, mention.end + _NEAR)
        for at in range(chunk.start, stop):
            norm = norms[at]
            if norm not in _OPENS:
                continue
            after = norms[at + 1] if at + 1 < stop else ""
            if norm in ("while", "whilst") and (after in _WHO or after in _APART):
                if not _APART.isdisjoint(norms[at + 1 : min(stop, at + 6)]):
                    return True
            elif norm == "when" and after in _WHO:
                if norms[at + 2 : at + 3] == ["was"] and not _AS_WELL.isdisjoint(norms[at + 3 : min(stop, at + 5)]):
                    return True
            elif (
                ((norm, after) in _PAIRS and at < chunk.end)
                or (norm in _SOON and after in ("after", "afterwards", "off"))
                or norm == "afterwards"
                or (norm == "then" and at + 1 == sentence.end)
                or (
                    norm in ("too", "well", "also", "ditto") and at + 1 == sentence.end and at - sentence.start < _BRIEF
                )
            ):
                return True
        return False

    def _told_last(self, start: int) -> list[When]:
        """The time told last before token `start`, if it is one at which something was done."""
        norms = self._tokens.norms
        place = bisect_left(self._times, start, key=_start)
        for number in range(place - 1, max(-1, place - 3), -1):
            last = self._times[number]
            if start - last.end > _BACK:
                return []
            year = settle(last, False, self._saved_on)[1]
            if year is not None and year > self._saved_on.year:
                continue  # a test that runs out
            before = norms[last.start - 1 if last.start else 0]
            if before in _SINCE or self._now(last) or self._regular(max(0, last.start - _BACK // 4), last.start):
                return []
            return self._group(self._times[max(0, number - 2) : number + 1])
        return []

    def _now(self, when: When) -> bool:
        """Whether a time is the odometer's reading or the vehicle's own year."""
        if when.mileage is not None and self._mileage is not None:
            return when.mileage >= 0.99 * self._mileage
        first = self._sentences[0]
        if when.start >= first.end or self._tokens.norms[when.start - 1 if when.start else 0] in _IN:
            return False
        mentions = self._told.get(first.start, _NOTHING)[0]
        return not any(mention.has("done") or mention.subject in self._events for mention in mentions)

    def _stopped(self, start: int) -> bool:
        """Whether a sentence begins at token `start` by its punctuation."""
        return not start or not self._tokens.norms[start - 1][0].isalnum()

    def _run_on(self, before: Sentence) -> int | None:
        """The year with which a sentence opens that nothing divides from the next ("last year it failed and I had it
        welded")."""
        told, _, times = self._told.get(before.start, _NOTHING)
        if len(times) != 1 or times[0].start - before.start > 1 or any(mention.has("done") for mention in told):
            return None
        return None if self._vehicles(before, times[0]) else settle(times[0], False, self._saved_on)[1]

    def _befallen(self, sentence: Sentence, mention: Mention) -> int | None:
        """The year of what befell the vehicle, told in the sentence before, when this is the work that put it right."""
        place = bisect_left(self._starts, sentence.start)
        if not place or self._sentences[place - 1].line != sentence.line:
            return None
        if not self._stopped(sentence.start):
            return self._run_on(self._sentences[place - 1])
        told, _, times = self._told.get(self._sentences[place - 1].start, _NOTHING)
        years = {settle(when, False, self._saved_on)[1] for when in times if not self._now(when)} - {None}
        if len(years) != 1:
            return None
        (year,) = years
        here = self._told.get(sentence.start, _NOTHING)[0]
        times = self._told.get(sentence.start, _NOTHING)[2]
        if not times and any(one.subject in self._events for one in told):
            return year
        norms = self._tokens.norms
        before = norms[self._sentences[place - 1].start : self._sentences[place - 1].end]
        if not times and not _RESTORED.isdisjoint(before):
            return year  # "restored in 2014. New floors, new sills"
        chunk = sentence.chunks[mention.chunk]
        if not _MENDERS.isdisjoint(norms[chunk.start : chunk.end]) or norms[sentence.start : sentence.start + 3] == [
            "a", "body", "shop",
        ]:  # fmt: skip
            return year
        faults = set() if _WENT.isdisjoint(before) else self._named.get(self._sentences[place - 1].start, set())
        if mention.subject in faults:
            return year
        for one in here:
            if one.subject in faults and one.end <= mention.start and "with" in norms[one.end : mention.start]:
                return year
        return None
