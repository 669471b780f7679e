"""Which cues bear on which mention within a chunk. After ConText (Harkema et al. 2009)."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise

from pipeline.nlp.lexicon import BETWEEN, COPULAS, DENIALS, LINKS, PLACES, VERBS
from pipeline.nlp.mentions import ACTS, Bearing, Cue, Mention
from pipeline.nlp.segments import Chunk, Sentence
from pipeline.nlp.status import POLAR, view
from pipeline.nlp.tokens import Tokens
from pipeline.nlp.when import When
from pipeline.schemas.language import CueKind

_BESIDE = BETWEEN | COPULAS  # words between a part and another word of it
_ACT_REACH = 6  # words between a part and the weak finding told of it
_WEAK_CUES: dict[str, Bearing] = {}


@dataclass(slots=True)
class Part:
    """A chunk with what stands in it."""

    chunk: Chunk
    mentions: list[Mention]
    cues: list[Cue]
    times: list[When]
    dropped: list[Mention]  # told of the model in general, or of another vehicle

    def polar(self) -> list[Cue]:
        """Cues that say something of a state, negation counted."""
        return [cue for cue in self.cues if cue.kind in POLAR]

    def first(self, kind: CueKind) -> Cue | None:
        return next((cue for cue in self.cues if cue.rule.kind == kind), None)


class Scope:
    """Deals the mentions and cues of sentences to chunks and the cues of a chunk to its mentions."""

    def parts(
        self, tokens: Tokens, sentence: Sentence, mentions: list[Mention], cues: list[Cue], times: list[When]
    ) -> list[Part]:
        """The chunks of a sentence with their mentions, each of which has the cues of its own chunk."""
        chunks = sentence.chunks
        if not chunks:
            return []
        if len(chunks) == 1:
            parts = [Part(chunks[0], mentions, [*cues], times, [])]
        else:
            parts = [Part(chunk, [], [], [], []) for chunk in chunks]
            ends = [chunk.end for chunk in chunks[:-1]]  # the last chunk has also what stands behind it
            for mention in mentions:
                parts[bisect_right(ends, mention.start)].mentions.append(mention)
            for cue in cues:
                parts[bisect_right(ends, cue.start)].cues.append(cue)
            for when in times:
                parts[bisect_right(ends, when.start)].times.append(when)
        kinds = {cue.rule.kind for cue in cues}
        for part in parts:
            if "negation" in kinds:
                _negate(part, tokens)
            if len(part.mentions) > 1:
                self._settle(part, tokens)
                kinds.update(cue.rule.kind for cue in part.cues)
        if "other" in kinds:
            _skip_others(parts)
        for part in parts:
            if part.mentions and part.cues:
                _own_cues(part, tokens)
        return parts

    def _settle(self, part: Part, tokens: Tokens) -> None:
        """Compounds speak of their last part; a place named beside a part, or a weak finding, gives way."""
        found = part.mentions
        drop: set[int] = set()
        for index, (one, two) in enumerate(pairwise(found)):
            if (
                two.shadow is not None
                and one.rule.kind == "part"
                and one.subject != two.subject
                and one.end <= two.start
            ):
                if _BESIDE.issuperset(tokens.norms[one.end : two.start]):
                    drop.add(index + 1)
                    two.shadow.negated = two.negated
                    part.cues.append(two.shadow)
                continue
            if one.words == two.words or one.subject == two.subject or not one.rule.kind == two.rule.kind == "part":
                continue
            if two.start <= one.end:
                drop.add(index)
            elif not PLACES.isdisjoint(tokens.norms[max(one.end, two.start - 3) : two.start]):
                drop.add(index + 1)
        strong = [mention for index, mention in enumerate(found) if index not in drop and mention.rule.kind != "weak"]
        for index, mention in enumerate(found):
            if mention.rule.kind != "weak" or not strong or index in drop:
                continue
            if any(m.rule.kind == "finding" and m.subject == mention.subject and _beside(m, mention) for m in strong):
                drop.add(index)
            elif any(_attached(mention, other, part, tokens) for other in strong):
                drop.add(index)
                part.cues.append(Cue(scope_cue(mention), mention.start, mention.end, mention.negated))
        part.cues.sort(key=lambda cue: cue.start)
        part.mentions = [mention for index, mention in enumerate(found) if index not in drop]


def scope_cue(weak: Mention) -> Bearing:
    """The cue as which a weak finding is told of a part. Kept, for there are few such rules."""
    rule = weak.rule
    known = _WEAK_CUES.get(rule.id)
    if known is None:
        kind = rule.acts_as or ACTS.get(rule.default or "present", "fault")
        known = _WEAK_CUES[rule.id] = Bearing(rule.id, kind)
    return known


def _beside(one: Mention, two: Mention) -> bool:
    return max(one.start, two.start) - min(one.end, two.end) <= 2


def _attached(weak: Mention, other: Mention, part: Part, tokens: Tokens) -> bool:
    """Whether a weak finding is told of `other`, a part in its chunk ("rust on the sills", "sills have rust")."""
    if other.rule.kind != "part":
        return other.start <= weak.start < other.end
    if other.start >= weak.end:
        return all(word in LINKS or word.isdecimal() for word in tokens.norms[weak.end : other.start])
    if weak.start - other.end > _ACT_REACH:
        return False
    return not any(other.end <= cue.start < weak.start and cue.rule.kind in POLAR for cue in part.cues)


def _negate(part: Part, tokens: Tokens) -> None:
    """Lets each negation bear on the next cue or finding within its reach, or on what goes before it."""
    for cue in part.cues:
        if cue.rule.kind != "negation":
            continue
        reach, direction = cue.rule.reach, cue.rule.direction
        within = [
            m
            for m in part.mentions
            if m.rule.kind != "part" and m.start < cue.start and cue.end < m.end and not _holds(m, cue)
        ]
        if within:
            for mention in within:
                mention.negated = True
            continue
        if direction != "backward":
            target = next(
                (c for c in part.cues if c.rule.kind in POLAR and 0 <= c.start - cue.end <= reach),
                None,
            )
            named = next((m for m in part.mentions if m.start >= cue.end and m.start - cue.end <= reach), None)
            if named is not None and named.rule.kind == "part":
                finding = next(
                    (m for m in part.mentions if m.rule.kind != "part" and 0 <= m.start - cue.end <= reach), None
                )
            else:
                finding = named
            if finding is not None and (target is None or finding.words[-1] <= target.start):
                if _denies(finding, tokens):
                    continue
                for mention in part.mentions:
                    if mention.words == finding.words:
                        mention.negated = True
                continue
            if target is not None:
                for other in part.cues:
                    if (other.start, other.end) == (target.start, target.end):
                        other.negated = not other.negated
                continue
            if named is not None and named.start - cue.end <= 3:
                for mention in part.mentions:
                    if mention.words == named.words:
                        mention.negated = True
                continue
        if direction != "forward":
            for mention in reversed(part.mentions):
                if mention.end <= cue.start <= mention.end + reach:
                    mention.negated = True
                    break


def _holds(mention: Mention, cue: Cue) -> bool:
    return any(word in range(cue.start, cue.end) for word in mention.words)


def _denies(finding: Mention, tokens: Tokens) -> bool:
    """Whether a finding is itself a denial ("never towed"), which a negation before it does not turn round."""
    return any(tokens.norms[word] in DENIALS for word in finding.words)


def _skip_others(parts: list[Part]) -> None:
    """Drops what is said of other vehicles, of the model in general, of the buyer, in questions and wishes."""
    for index, part in enumerate(parts):
        for cue in part.cues:
            if cue.rule.kind != "other":
                continue
            last = index
            if cue.rule.direction != "backward" and cue.rule.reach > 20:
                while last + 1 < len(parts) and parts[last + 1].chunk.link == "weak":
                    last += 1
            for place in range(index, last + 1):
                there = parts[place]
                there.dropped.extend(m for m in there.mentions if _covered(m, cue))
                there.mentions = [m for m in there.mentions if not _covered(m, cue)]


def _covered(mention: Mention, cue: Cue) -> bool:
    if mention.end <= cue.start:
        return cue.rule.direction != "forward" and cue.start - mention.end <= cue.rule.reach
    return cue.rule.direction != "backward" and mention.start - cue.end <= cue.rule.reach


def _own_cues(part: Part, tokens: Tokens) -> None:
    """Deals the cues of a chunk to its mentions."""
    mentions = part.mentions
    words = mentions[0].words
    if mentions[-1].words == words and all(mention.words == words for mention in mentions):
        for mention in mentions:
            mention.cues = [view(cue, mention) for cue in part.cues]
        return
    bounds = [part.chunk.start]
    for before, mention in pairwise(mentions):
        same = mention.words == before.words
        bounds.append(bounds[-1] if same else _region_start(part, before, mention, tokens))
    for index, mention in enumerate(mentions):
        start = bounds[index]
        stop = next((bound for bound in bounds[index + 1 :] if bound > start), part.chunk.end)
        mention.cues = [view(cue, mention) for cue in part.cues if start <= cue.start < stop]


def _region_start(part: Part, before: Mention, mention: Mention, tokens: Tokens) -> int:
    """Where the words that speak of `mention` begin, between it and the mention before it."""
    ending: dict[int, Cue] = {}
    for one in sorted(part.cues, key=_looks_on):
        ending[one.end] = one
    at = mention.start
    while at > before.end:
        cue = ending.get(at) or _linked(ending, at, before.end, tokens)
        if cue is None or cue.start < before.end:
            if tokens.norms[at - 1] not in BETWEEN and not tokens.norms[at - 1].isdecimal():
                break
            at -= 1
            continue
        if cue.rule.direction == "backward":
            break
        if cue.rule.kind in ("fault", "sound") and before.rule.kind == "part":
            if tokens.norms[cue.start - 1] in VERBS:
                break  # "the door is rusty round the rubber"
            others = [c for c in part.cues if before.end <= c.start < cue.start and c.rule.kind in POLAR]
            if not others and cue.end == at:
                break
        at = cue.start
    return at


def _looks_on(cue: Cue) -> tuple[bool, bool]:
    """Of cues in one place the last in this order counts: one that tells a state, and looks forward."""
    return cue.rule.kind in POLAR, cue.rule.direction != "backward"


def _linked(ending: dict[int, Cue], at: int, stop: int, tokens: Tokens) -> Cue | None:
    """A fault or praise before `at` that is joined to it by prepositions ("no rust on the arches")."""
    place = at
    while place > stop and tokens.norms[place - 1] in LINKS:
        place -= 1
        cue = ending.get(place)
        if cue is not None:
            return cue if cue.rule.kind in ("fault", "sound") and cue.rule.direction == "both" else None
    return None
