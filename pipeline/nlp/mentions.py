"""Mentions of subjects and the cues around them, found in one pass of the automaton."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.nlp.automaton import Automaton, Hit
from pipeline.nlp.tokens import Tokens
from pipeline.schemas.language import CueKind, CueRule, Language, SubjectRule
from pipeline.types import Status

# The cue that says of a part what a finding says by itself.
ACTS: dict[Status, CueKind] = {"present": "fault", "absent": "sound", "done": "done", "due": "due", "possible": "hedge"}
_DENIED = {"fault": "sound", "sound": "fault", "done": "undone", "due": "undue"}
_APART = frozenset({"heading", "slight", "heavy"})
_ORDER = {"mask": 0, "finding": 1, "part": 2, "weak": 3}


@dataclass(slots=True)
class Cue:
    """A cue found at tokens start..end. `negated`: a negation bears on it."""

    rule: CueRule
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
    rule: SubjectRule
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

    @property
    def kind(self) -> str:
        return self.rule.kind


class Finder:
    """Finds mentions and cues of a language's rules."""

    def __init__(self, language: Language) -> None:
        self._automaton = Automaton()
        self._rules: list[tuple[str | None, SubjectRule | CueRule]] = []
        self._order: list[int] = []  # of rules that take as many words: the lower first
        for subject, rules in language.subjects.items():
            for rule in rules:
                self._add(subject, rule)
        for cue in language.cues:
            self._add(None, cue)

    def _add(self, subject: str | None, rule: SubjectRule | CueRule) -> None:
        number = len(self._rules)
        self._rules.append((subject, rule))
        self._order.append(_ORDER.get(rule.kind, len(_ORDER)))
        for pattern in rule.patterns:
            self._automaton.add(pattern, number)

    def find(self, tokens: Tokens) -> tuple[list[Mention], list[Cue]]:
        """Mentions and cues in order of their start, overlaps settled: the one of more words wins."""
        subject_hits: list[Hit] = []
        cue_hits: list[Hit] = []
        rules, order = self._rules, self._order
        for hit in self._automaton.find(tokens.norms):
            (cue_hits if rules[hit[3]][0] is None else subject_hits).append(hit)
        mentions: list[Mention] = []
        owner: dict[int, Hit] = {}
        subject_hits.sort(key=lambda hit: (-len(hit[2]), order[hit[3]], hit[0]))
        for hit in subject_hits:
            start, end, words, number = hit
            subject, rule = rules[number]
            for word in words:
                rival = owner.get(word)
                if rival is not None and (rival[2] != words or rules[rival[3]][0] == subject):
                    break
            else:
                for word in words:
                    owner.setdefault(word, hit)
                assert subject is not None and isinstance(rule, SubjectRule)
                if rule.kind != "mask":
                    mentions.append(Mention(subject, rule, start, end, words))
        mentions.sort(key=lambda mention: (mention.start, mention.end))
        cues: list[Cue] = []
        taken: dict[int, Hit] = {}
        shadows: dict[tuple[int, ...], Cue] = {}
        cue_hits.sort(key=lambda hit: (-len(hit[2]), hit[0]))
        for hit in cue_hits:
            start, end, words, number = hit
            rule = rules[number][1]
            assert isinstance(rule, CueRule)
            if rule.kind in _APART:  # their words may say something else as well: they take none
                cues.append(Cue(rule, start, end))
                continue
            named = rule.kind != "idle"
            for word in words:
                rival = taken.get(word)
                if rival is not None and rival[2] != words:
                    break
                mine = owner.get(word)
                named = named and mine is not None and rules[mine[3]][1].kind != "mask"
            else:
                if named:
                    shadows.setdefault(owner[words[0]][2], Cue(rule, start, end))
                    continue
                for word in words:
                    taken[word] = hit
                if rule.kind != "idle":  # it takes the words from cues that would hold, and says nothing itself
                    cues.append(Cue(rule, start, end))
        cues.sort(key=lambda cue: cue.start)
        for mention in mentions:
            cue = shadows.get(mention.words)
            status = mention.rule.default
            if cue is not None and mention.kind == "finding" and status in ("absent", "done", "due"):
                mention.shadow = cue if cue.rule.kind == ACTS[status] else None
        return [m for m in mentions if m.kind != "weak" or not _within(m, taken)], cues

    def words(self) -> set[str]:
        """Every word that a pattern holds."""
        return set(self._automaton.words())


def _within(mention: Mention, taken: dict[int, Hit]) -> bool:
    """Whether a longer cue holds words of a weak mention ("will need replacing")."""
    return any(len(taken[word][2]) > len(mention.words) for word in mention.words if word in taken)
