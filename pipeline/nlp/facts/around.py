"""Cues around a place of a text: the stretches before and after it, and which cues of a group stand in them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TypeAlias

from pipeline.nlp.facts.anchors import needs
from pipeline.nlp.facts.phrases import any_of, ending, starting, words_of
from pipeline.schemas.facts import Cue

BESIDE = ("touch", "listed", "beyond")
_TOUCH = 45  # characters in which a cue that stands right beside is looked for
_COMMA = re.compile(r"[,;:()\n]|\.(?=\s)| [-–—] ")


class Around:
    """The stretches around a place, each with its words, both worked out when asked for."""

    __slots__ = ("_known", "_stretches", "after", "before")

    def __init__(self, before: str, after: str, wide_before: str, wide_after: str) -> None:
        """`before` and `after`: the sentence on either side; `wide_…`: whatever stands there."""
        self.before, self.after = before, after
        commas = [match.end() for match in _COMMA.finditer(before)]
        # a colon right before the number still belongs to it: "price: 900"
        near = next((at for at in reversed(commas) if before[at:].strip(" :") or before[at - 1] != ":"), 0)
        cut = _COMMA.search(after)
        self._stretches = {
            ("before", "touch"): before[-_TOUCH:],
            ("before", "listed"): before[-_TOUCH:],
            ("before", "beyond"): wide_before[-_TOUCH:],
            ("before", "phrase"): before[near:],
            ("before", "clause"): before,
            ("after", "touch"): after[:_TOUCH],
            ("after", "listed"): after[:_TOUCH],
            ("after", "beyond"): wide_after[:_TOUCH],
            ("after", "phrase"): after[: cut.start()] if cut else after,
            ("after", "clause"): after,
        }
        self._known: dict[str, frozenset[str]] = {}

    def stretch(self, side: str, near: str) -> tuple[str, frozenset[str]]:
        """The stretch in which a cue of that side and nearness is looked for, and the words in it."""
        text = self._stretches[side, near]
        known = self._known.get(text)
        if known is None:
            known = self._known[text] = words_of(text)
        return text, known


class _Known:
    """One cue, compiled, with the words and signs of which a stretch must hold one."""

    __slots__ = ("cue", "look", "loose", "signs", "words")

    def __init__(self, cue: Cue) -> None:
        self.cue = cue
        if cue.near not in BESIDE:
            self.look = any_of(cue.words).search
        elif cue.side == "before":
            self.look = ending(cue.words).search
        else:
            self.look = starting(cue.words, cue.near != "touch").match
        every = [needs(text) for text in cue.words]
        self.loose = not all(every)
        chosen = [max(found, key=lambda need: bool(need.words)) for found in every if found]
        self.words = frozenset(word for need in chosen for word in need.words)
        self.signs = tuple({sign for need in chosen for sign in need.signs})


_Placed: TypeAlias = tuple[int, _Known]  # a cue and its place in the rules
_ByWord: TypeAlias = dict[str, list[_Placed]]


class CueSet:
    """The cues of a rules file, read together around one place."""

    def __init__(self, cues: Sequence[Cue]) -> None:
        groups: dict[tuple[str, str], tuple[_ByWord, list[_Placed]]] = {}
        for number, cue in enumerate(cues):
            one = _Known(cue)
            by_word, others = groups.setdefault((cue.side, cue.near), ({}, []))
            for word in one.words:
                by_word.setdefault(word, []).append((number, one))
            if one.loose or one.signs:
                others.append((number, one))
        self._groups = [
            (side, near, frozenset(by_word), by_word, others) for (side, near), (by_word, others) in groups.items()
        ]

    def read(self, around: Around) -> list[Cue]:
        """The cues that stand there, in the order of the rules."""
        found: dict[int, Cue] = {}
        for side, near, words, by_word, others in self._groups:
            text, known = around.stretch(side, near)
            if not text:
                continue
            for number, one in others:
                if (one.loose or any(sign in text for sign in one.signs)) and one.look(text):
                    found[number] = one.cue
            if not words.isdisjoint(known):
                for word in words & known:
                    for number, one in by_word[word]:
                        if number not in found and one.look(text):
                            found[number] = one.cue
        return [found[number] for number in sorted(found)]

    def sums(self, around: Around) -> tuple[float, tuple[str, ...]]:
        """Weights of the cues that stand there, added up, and their ids."""
        found = self.read(around)
        return sum((cue.weight for cue in found), 0.0), tuple(cue.id for cue in found)
