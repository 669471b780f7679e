"""Cues around a place of a text: the stretches before and after it, and which cues of a group stand in them."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import TypeAlias

from pipeline.nlp.facts.anchors import Need, Words, firsts, lasts, needs
from pipeline.nlp.facts.phrases import any_of, ending, starting
from pipeline.schemas.facts import Cue

BESIDE = ("touch", "listed", "beyond")
_TOUCH = 45  # characters in which a cue that stands right beside is looked for
_TAIL = 3  # words at the end of which one ends a cue right before: at most two little words follow it
_Beside: TypeAlias = tuple[str, list[str]]  # a stretch, and the words in it at which a cue can be
_COMMA = re.compile(r"[,;:()\n]|\.(?=\s)| [-–—] ")


class Around:
    """The stretches around a place and their words. Of a pair, the first stands before the place."""

    __slots__ = ("_beyond", "_phrases", "_place", "_words", "beside", "clauses", "known")

    def __init__(self, words: Words, first: int, start: int, end: int, last: int) -> None:
        """The place is `start`-`end`, its sentence begins at `first` and ends at `last`."""
        before, after = words.low[first:start], words.low[end:last]
        self.clauses = before, after
        self._words, self._place = words, (start, end)
        self.known = earlier, later = words.between(first, start), words.between(end, last)
        # where a cue right beside is looked for, and the words at which one can end or begin
        self.beside = (before[-_TOUCH:], earlier[-_TAIL:]), (after[:_TOUCH], later[:1])
        self._beyond: list[_Beside | None] = [None, None]
        self._phrases: list[str | None] = [None, None]

    def beyond(self, side: int) -> _Beside:
        """The same as `beside` though a sentence ends between."""
        found = self._beyond[side]
        if found is None:
            at = self._place[side]
            start, end = (at, at + _TOUCH) if side else (max(0, at - _TOUCH), at)
            words = self._words.between(start, end)
            found = self._beyond[side] = self._words.low[start:end], words[:1] if side else words[-_TAIL:]
        return found

    def phrase(self, side: int) -> str:
        """The stretch on one side in which no comma stands."""
        found = self._phrases[side]
        if found is None:
            before, after = self.clauses
            if side:
                cut = _COMMA.search(after)
                found = after[: cut.start()] if cut else after
            else:
                commas = [match.end() for match in _COMMA.finditer(before)]
                # a colon right before the number still belongs to it: "price: 900"
                near = (at for at in reversed(commas) if before[at:].strip(" :") or before[at - 1] != ":")
                found = before[next(near, 0) :]
            self._phrases[side] = found
        return found


def _first_words(text: str) -> frozenset[str] | None:
    begins = firsts(text)
    return None if begins is None or begins.stems or begins.number else begins.words


class _Known:
    """One cue, compiled, with the words and the letters of which a stretch must hold one."""

    __slots__ = ("cue", "letters", "look", "loose", "words")

    def __init__(self, cue: Cue) -> None:
        self.cue = cue
        self.loose = False  # nothing can be told
        words: set[str] = set()
        letters: set[str] = set()
        if cue.near not in BESIDE:
            self.look = any_of(cue.words).search
            outer: Callable[[str], frozenset[str] | None] | None = None
        elif cue.side == "before":
            self.look = ending(cue.words).search
            outer = lasts
        else:
            self.look = starting(cue.words, cue.near != "touch").match
            outer = _first_words
        for text in cue.words:
            every = needs(text)
            if outer is not None and (at := outer(text)) is not None:
                words |= at
            elif not every:
                self.loose = True
            elif outer is None:
                need = max(reversed(every), key=Need.rarity)
                words |= need.words
                letters |= {*need.signs}
            else:
                letters |= {*every[0].words, *every[0].signs}
        self.words, self.letters = frozenset(words), tuple(letters)

    def may(self, text: str) -> bool:
        """Whether a stretch holds the letters of one of the phrases that have them."""
        for sign in self.letters:  # asked too often for a generator
            if sign in text:
                return True
        return self.loose


_Placed: TypeAlias = tuple[int, _Known]  # a cue and its place in the rules
_ByWord: TypeAlias = dict[str, list[_Placed]]


class CueSet:
    """The cues of a rules file, read together around one place."""

    def __init__(self, cues: Sequence[Cue]) -> None:
        groups: dict[tuple[bool, int, bool], tuple[_ByWord, list[_Placed]]] = {}
        for number, cue in enumerate(cues):
            one = _Known(cue)
            beside = cue.near in BESIDE
            place = beside, int(cue.side == "after"), cue.near in ("beyond", "phrase")
            by_word, others = groups.setdefault(place, ({}, []))
            for word in one.words:
                by_word.setdefault(word, []).append((number, one))
            if one.loose or one.letters:
                others.append((number, one))
        self._beside = [(side, beyond, *held) for (beside, side, beyond), held in groups.items() if beside]
        self._within = [
            (side, to_comma, by_word.keys(), by_word, others)
            for (beside, side, to_comma), (by_word, others) in groups.items()
            if not beside
        ]

    def read(self, around: Around) -> list[Cue]:
        """The cues that stand there, in the order of the rules."""
        found: dict[int, Cue] = {}
        for side, beyond, by_word, others in self._beside:
            text, words = around.beyond(side) if beyond else around.beside[side]
            for word in words:
                if word in by_word:
                    for number, one in by_word[word]:
                        if number not in found and one.look(text):
                            found[number] = one.cue
            for number, one in others:
                if number not in found and one.may(text) and one.look(text):
                    found[number] = one.cue
        for side, to_comma, all_words, by_word, others in self._within:
            text, words = around.clauses[side], around.known[side]
            live = [one for one in others if one[1].may(text)] if others else []
            if not all_words.isdisjoint(words):
                live += [one for word in words if word in by_word for one in by_word[word]]
            if live:
                text = around.phrase(side) if to_comma else text
                for number, one in live:
                    if number not in found and one.look(text):
                        found[number] = one.cue
        return [found[number] for number in sorted(found)] if found else []

    def sums(self, around: Around) -> tuple[float, tuple[str, ...]]:
        """Weights of the cues that stand there, added up, and their ids."""
        found = self.read(around)
        if not found:
            return 0.0, ()
        return sum([cue.weight for cue in found], 0.0), tuple([cue.id for cue in found])
