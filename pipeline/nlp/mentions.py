"""Mentions of subjects and the cues around them, found in one pass of the automaton."""

from __future__ import annotations

from dataclasses import dataclass, field
from operator import attrgetter

from pipeline.nlp.automaton import Automaton, Hit
from pipeline.nlp.tokens import Tokens
from pipeline.schemas.language import CueKind, CueRule, Direction, Language, MentionKind, SubjectRule
from pipeline.types import Status

# The cue that says of a part what a finding says by itself.
ACTS: dict[Status, CueKind] = {"present": "fault", "absent": "sound", "done": "done", "due": "due", "possible": "hedge"}
_DENIED = {"fault": "sound", "sound": "fault", "done": "undone", "due": "undue"}
_APART = frozenset({"heading", "slight", "heavy"})
_ORDER = {"mask": 0, "finding": 1, "part": 2, "weak": 3}
_span, _start = attrgetter("start", "end"), attrgetter("start")


@dataclass(slots=True, frozen=True)
class Naming:
    """What is asked of a `SubjectRule` for each of its mentions; plain slots are looked up in a third of the time."""

    id: str
    kind: MentionKind
    default: Status | None = None
    negated: Status | None = None
    acts_as: CueKind | None = None
    bare: Status | None = None
    detail: str | None = None

    @staticmethod
    def of(rule: SubjectRule) -> Naming:
        """The rule as mentions hold it."""
        return Naming(rule.id, rule.kind, rule.default, rule.negated, rule.acts_as, rule.bare, rule.detail)


@dataclass(slots=True, frozen=True)
class Bearing:
    """What is asked of a `CueRule` for each of its cues."""

    id: str
    kind: CueKind
    direction: Direction = "both"
    reach: int = 8
    status: Status | None = None
    subjects: tuple[str, ...] = ()

    @staticmethod
    def of(rule: CueRule) -> Bearing:
        """The rule as cues hold it."""
        return Bearing(rule.id, rule.kind, rule.direction, rule.reach, rule.status, rule.subjects)


@dataclass(slots=True)
class Cue:
    """A cue found at tokens start..end. `negated`: a negation bears on it."""

    rule: Bearing
    start: int
    end: int
    negated: bool = False

    @property
    def kind(self) -> str:
        """What it says once its negation is counted: a denied fault is soundness and the other way round."""
        kind = self.rule.kind
        return _DENIED.get(kind, "none") if self.negated else kind


@dataclass(slots=True)
class CueView:
    """A cue as one mention sees it: signed distance in words, negative before it."""

    cue: Cue
    distance: int
    how: str = "own"  # own, orphan (a later chunk of its own), list (shared by a list), heading, key


@dataclass(slots=True)
class Mention:
    """A subject spoken of at tokens start..end, with all that bears on its status (features of the later model)."""

    subject: str
    rule: Naming
    start: int
    end: int
    words: tuple[int, ...]
    sentence: int = -1
    chunk: int = -1
    cues: list[CueView] = field(default_factory=list)
    negated: bool = False
    excepted: bool = False
    shadow: Cue | None = None  # a cue within a finding's words, for the part before it ("starter | motor replaced")
    statuses: list[tuple[Status, str, int, int]] = field(default_factory=list)  # status, cue rule, span start, end

    def has(self, status: Status) -> bool:
        """Whether it has the status."""
        return status in [told[0] for told in self.statuses]


class Finder:
    """Finds mentions and cues of a language's rules."""

    def __init__(self, language: Language) -> None:
        self._automaton = Automaton()
        named = [(subject, rule) for subject, rules in language.subjects.items() for rule in rules]
        self._subjects = [subject for subject, _ in named]
        self._namings = [Naming.of(rule) for _, rule in named]
        self._bearings = [Bearing.of(rule) for rule in language.cues]
        self._order = [_ORDER[rule.kind] for _, rule in named]  # of those that take as many words: the lower first
        # Rules are numbered, those of subjects first.
        for number, rule in enumerate([*(rule for _, rule in named), *language.cues]):
            for pattern in rule.patterns:
                self._automaton.add(pattern, number)

    def find(self, tokens: Tokens) -> tuple[list[Mention], list[Cue]]:
        """Mentions and cues in order of their start, overlaps settled: the one of more words wins."""
        hits = self._automaton.find(tokens.norms)
        cues_from = len(self._namings)
        mentions, owner = self._mentions([hit for hit in hits if hit[3] < cues_from])
        cues, taken, shadows = self._cues([hit for hit in hits if hit[3] >= cues_from], owner)
        for mention in mentions if shadows else ():
            cue = shadows.get(mention.words)
            status = mention.rule.default
            if cue is not None and mention.rule.kind == "finding" and status in ("absent", "done", "due"):
                mention.shadow = cue if cue.rule.kind == ACTS[status] else None
        return [m for m in mentions if m.rule.kind != "weak" or not _within(m, taken)], cues

    def _mentions(self, hits: list[Hit]) -> tuple[list[Mention], dict[int, Hit]]:
        """Mentions, and the match of a subject that has each word, also of a mask. `hits`: in order of their start."""
        subjects, namings, order = self._subjects, self._namings, self._order
        mentions: list[Mention] = []
        owner: dict[int, Hit] = {}
        hits.sort(key=lambda hit: order[hit[3]] - len(_ORDER) * len(hit[2]))
        for hit in hits:
            start, end, words, number = hit
            for word in words:
                rival = owner.get(word)
                if rival is not None and (rival[2] != words or subjects[rival[3]] == subjects[number]):
                    break
            else:
                for word in words:
                    owner.setdefault(word, hit)
                rule = namings[number]
                if rule.kind != "mask":
                    mentions.append(Mention(subjects[number], rule, start, end, words))
        mentions.sort(key=_span)
        return mentions, owner

    def _cues(
        self, hits: list[Hit], owner: dict[int, Hit]
    ) -> tuple[list[Cue], dict[int, Hit], dict[tuple[int, ...], Cue]]:
        """Cues, the match of a cue that has each word, and cues within the words of a mention. `hits`: in order of
        their start; `owner`: the match of a subject that has each word."""
        bearings, namings, first = self._bearings, self._namings, len(self._namings)
        cues: list[Cue] = []
        taken: dict[int, Hit] = {}
        shadows: dict[tuple[int, ...], Cue] = {}
        hits.sort(key=lambda hit: -len(hit[2]))
        for hit in hits:
            start, end, words, number = hit
            rule = bearings[number - first]
            kind = rule.kind
            if kind in _APART:  # their words may say something else as well: they take none
                cues.append(Cue(rule, start, end))
                continue
            named = kind != "idle"
            for word in words:
                rival = taken.get(word)
                if rival is not None and rival[2] != words:
                    break
                if named:
                    mine = owner.get(word)
                    named = mine is not None and namings[mine[3]].kind != "mask"
            else:
                if named:
                    shadows.setdefault(owner[words[0]][2], Cue(rule, start, end))
                    continue
                for word in words:
                    taken[word] = hit
                if kind != "idle":  # it takes the words from cues that would hold, and says nothing itself
                    cues.append(Cue(rule, start, end))
        cues.sort(key=_start)
        return cues, taken, shadows

    def words(self) -> set[str]:
        """Every word that a pattern holds."""
        return set(self._automaton.words())


def _within(mention: Mention, taken: dict[int, Hit]) -> bool:
    """Whether a longer cue holds words of a weak mention ("will need replacing")."""
    return any(len(taken[word][2]) > len(mention.words) for word in mention.words if word in taken)
