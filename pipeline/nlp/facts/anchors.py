"""Finds which of many phrases can stand in a text at all, by the words and signs that each of them must hold.

Regular expressions are dear and most phrases are in no advert: the words of a text are looked up once, and only the
phrases whose own words are all there are tried, at the places of their first word where that is known.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from typing import Generic, NamedTuple, TypeAlias, TypeVar

from pipeline.nlp.facts.phrases import NUMBER_WORDS, any_of, parts_of, phrase
from pipeline.nlp.lexicon import FILL

K = TypeVar("K", bound=Hashable)

_WORD = re.compile(r"[^\W_]+")
_GLUED = re.compile(r"[^\W\d_]+")  # to a figure before it
_FIGURES = re.compile(r"(?<!\w)\d|{n}|{year}")  # what in a phrase may begin with a figure
_NUMBERS = frozenset(NUMBER_WORDS)
_APOSTROPHES = re.compile(r"(\w*)'(\w*)")


class _Blanks(dict[int, int]):
    """For `translate`: letters and digits stay, every other sign becomes a blank. Of a bounded memory."""

    def __missing__(self, sign: int) -> int:
        stays = sign if chr(sign).isalnum() else ord(" ")
        if len(self) < 4096:
            self[sign] = stays
        return stays


_BLANKS = _Blanks()


class Words:
    """The words of a lower-case text, and the places of those that are asked for.

    `whole`: as they stand; `known`: with those glued to a figure: "10months" holds "months" too.
    """

    __slots__ = ("_apart", "_numbers", "_places", "_runs", "known", "low", "whole")

    def __init__(self, low: str, runs: Sequence[tuple[int, int]]) -> None:
        self.low = low
        self._runs = runs  # of digits
        plain = low.replace("£", " ").replace("€", " ")  # mostly ASCII then, which is translated many times faster
        self._apart = f" {plain.translate(_BLANKS)} "  # words with blanks around them, one sign behind those of `low`
        self.whole = frozenset(self._apart.split())
        glued = [match.group() for _, end in runs if (match := _GLUED.match(low, end))]
        self.known = self.whole.union(glued) if glued else self.whole
        self._places: dict[str, list[int]] = {}
        self._numbers: list[int] | None = None

    def places(self, word: str) -> list[int]:
        """Where a word begins, in order."""
        found = self._places.get(word)
        if found is None:
            found = self._places[word] = []
            apart, alone, step = self._apart, f" {word} ", len(word) + 1
            at = apart.find(alone)
            while at >= 0:
                found.append(at)
                at = apart.find(alone, at + step)
        return found

    def between(self, start: int, end: int) -> list[str]:
        """The words of a stretch, those at its ends as far as they lie in it."""
        return self._apart[start + 1 : end + 1].split()

    def long_figured(self, least: int) -> bool:
        """Whether a word with a figure in it has so many signs."""
        apart, end = self._apart, 0
        for start, _ in self._runs:
            if start >= end:
                end = apart.find(" ", start + 1)
                if end - apart.rfind(" ", 0, start + 1) > least:
                    return True
        return False

    def starts(self, begins: Begins) -> list[int]:
        """Where one of some words begins, in order."""
        low = self.low
        found = [start for word in begins.words & self.whole for start in self.places(word)]
        for stem in begins.stems:
            found += [at for at in places_of(stem, low) if at == 0 or not low[at - 1].isalnum()]
        if begins.number:
            if self._numbers is None:
                self._numbers = [
                    at for at, end in self._runs if end - at <= 2 and (at == 0 or not low[at - 1].isalnum())
                ]
                self._numbers += [start for word in _NUMBERS & self.whole for start in self.places(word)]
            found += self._numbers
        if len(found) > 1:
            found.sort()
        return found


class Begins(NamedTuple):
    """With what a match can begin: some words, words of which only the beginning is known, a number of two figures."""

    words: frozenset[str]
    stems: tuple[str, ...] = ()
    number: bool = False


@dataclass(frozen=True, slots=True)
class Need:
    """One of `words` as a whole word, or one of `signs` anywhere."""

    words: frozenset[str]
    signs: tuple[str, ...] = ()

    def rarity(self) -> int:
        """How rare its words are likely to be: by the letters of the shortest, little words as the least."""
        return min([1 if word in FILL else 1 + len(word) for word in self.words], default=0)

    def met(self, known: frozenset[str], low: str) -> bool:
        for sign in self.signs:  # asked too often for a generator
            if sign in low:
                return True
        return not self.words.isdisjoint(known)


@lru_cache(maxsize=4096)
def needs(text: str) -> tuple[Need, ...]:
    """What a text must hold for a phrase to stand in it; empty when nothing can be told."""
    found: list[Need] = []
    after_number: list[Need] = []
    loose: list[Need] = []  # letters: what may be glued to a number, and words with a sign in them
    numbered = False
    for part in parts_of(text):
        if part[0] == "[":
            continue
        need = None if "{" in part else _need(part)
        if need is not None and numbered:
            after_number.append(need)
            loose.append(
                Need(frozenset(), tuple(max(re.split(r"['*]|\s", choice), key=len) for choice in _choices(part)))
            )
        elif need is not None:
            found.append(need)
            if part[0] != "(" and "*" not in part and not part.isalnum() and part.count("'") < 2:
                loose.append(Need(frozenset(), tuple({part.replace("'", sign) for sign in ("", "'", "’")})))
        numbered = "{n}" in part
    return (*found, *loose) if found else (*after_number[:1], *loose[1:])  # which stands for its letters too


def _choices(part: str) -> list[str]:
    return part.rstrip("*")[1:-1].split("|") if part[0] == "(" else [part]


def _need(part: str) -> Need | None:
    stem = part[0] == "(" and part.endswith("*")
    choices = _choices(part)
    words: set[str] = set()
    signs: list[str] = []
    for choice in choices:
        plain = [] if stem else [made for word in choice.split() if "*" not in word and (made := _spellings(word))]
        if plain:
            words |= max(plain, key=lambda made: min(map(len, made)))
            continue
        literal = max(re.split(r"['*]|\s", choice), key=len)
        if not literal:
            return None
        signs.append(literal)
    return Need(frozenset(words), tuple(signs))


def _spellings(word: str) -> frozenset[str] | None:
    """Words of which a text holds one where `word` stands: "i'd" is "id" or "i", "d"; None when it has no letter."""
    if "'" in word:
        match = _APOSTROPHES.fullmatch(word)
        if match is None or "_" in word:
            return None
        return frozenset({match[1] + match[2], max(match.groups(), key=len)})
    found = _WORD.findall(word)
    return frozenset({max(found, key=len)}) if found else None


@lru_cache(maxsize=4096)
def firsts(text: str) -> Begins | None:
    """With what a match of a phrase can begin; None when that cannot be told."""
    words: set[str] = set()
    stems: set[str] = set()
    parts = parts_of(text)
    for place, part in enumerate(parts):
        if part == "{n}":
            if _FIGURES.search(" ".join(parts[place + 1 :])):
                return None  # they could be glued to the number
            return Begins(frozenset(words), tuple(stems), number=True)
        if "{" in part or (part[0] == "(" and part.endswith("*")):
            return None
        for choice in _inner(part).split("|"):
            word = choice.split()[0]
            if word.endswith("*") and word[:-1].isalnum():
                stems.add(word[:-1])
            elif not word[0].isalnum() or "*" in word:
                return None
            elif "'" not in word:
                words.add(_WORD.findall(word)[0])
            elif (plain := _APOSTROPHES.fullmatch(word)) is not None:
                words |= {plain[1], plain[1] + plain[2]}
            else:
                return None
        if part[0] != "[":
            return Begins(frozenset(words), tuple(stems))
    return None


@lru_cache(maxsize=4096)
def lasts(text: str) -> frozenset[str] | None:
    """The words with which a match of a phrase can end; None when that cannot be told."""
    found: set[str] = set()
    for part in reversed(parts_of(text)):
        if "{" in part or "*" in part:
            return None
        for choice in _inner(part).split("|"):
            word = choice.split()[-1]
            every = _WORD.findall(word)
            if "'" not in word and every:
                found.add(every[-1])
            elif (plain := _APOSTROPHES.fullmatch(word)) is not None:
                found |= {plain[2], plain[1] + plain[2]}
            else:
                return None
        if part[0] != "[":
            return frozenset(found)
    return None


def _inner(part: str) -> str:
    return part[1:-1] if part[0] in "[(" else part


# Place, key and phrase, and what it needs besides the words of `by_word`: all of some words, and more.
_Held: TypeAlias = tuple[int, tuple[K, str], frozenset[str], list[Need]]


class Lookup(Generic[K]):
    """Phrases under keys. `live` names those that a text may hold, in the order in which they were given."""

    def __init__(self, items: Iterable[tuple[K, str]]) -> None:
        by_word: dict[str, list[_Held[K]]] = {}
        self._loose: list[_Held[K]] = []  # held by no word of their own
        for number, (key, text) in enumerate(items):
            rest = list(needs(text))
            sure = [need for need in rest if need.words and not need.signs]
            if sure:
                best = max(sure, key=Need.rarity)
                rest.remove(best)
            words = frozenset(word for need in rest if len(need.words) == 1 and not need.signs for word in need.words)
            held = number, (key, text), words, [need for need in rest if len(need.words) != 1 or need.signs]
            for word in best.words if sure else ():
                by_word.setdefault(word, []).append(held)
            if not sure:
                self._loose.append(held)
        self._by_word = by_word
        self._words = frozenset(by_word)

    def live(self, words: Words) -> list[tuple[K, str]]:
        """Keys and their phrases that the text may hold."""
        known, low = words.known, words.low
        found: dict[int, tuple[K, str]] = {}
        for items in (self._loose, *[self._by_word[word] for word in self._words & known]):
            for number, held, every, rest in items:
                if every <= known:
                    for need in rest:
                        if not need.met(known, low):
                            break
                    else:
                        found[number] = held
        return [found[number] for number in sorted(found)]


class Spot(NamedTuple):
    """A phrase in a text, with the number in it as printed."""

    start: int
    end: int
    number: str | None = None


def spots(text: str, words: Words, most: int) -> list[Spot]:
    """The first matches of one phrase in a text, as `finditer` gives them."""
    low = words.low
    if text.isalnum() and text.islower() and "_" not in low:  # no other neighbours could belong to it
        return [Spot(start, start + len(text)) for start in words.places(text)[:most]]
    one, begins = phrase(text), firsts(text)
    found: list[Spot] = []
    if begins is None:
        for match in islice(one.pattern.finditer(low), most):
            found.append(Spot(*match.span(), match["n"] if one.numbered else None))
        return found
    end, sought = 0, one.pattern.match
    for start in words.starts(begins):  # as `tried`, without a generator: asked for every phrase
        if start >= end and (here := sought(low, start)) is not None:
            found.append(Spot(*here.span(), here["n"] if one.numbered else None))
            end = here.end()
            if len(found) == most:
                break
    return found


def stands(text: str, words: Words) -> bool:
    """Whether a phrase is in a text."""
    return (text in words.whole and "_" not in words.low) or bool(spots(text, words, 1))


class AnyOf:
    """Any of some phrases, the longest first; tried only where one of them may begin."""

    def __init__(self, texts: Sequence[str]) -> None:
        self._pattern = any_of(tuple(texts))
        begins = [firsts(text) for text in texts]
        self._firsts = None if None in begins else _together([one for one in begins if one is not None])
        self._loose = any(not needs(text) for text in texts)
        self._needs = [needs(text)[0] for text in texts if needs(text)]
        self._words = frozenset(word for need in self._needs for word in need.words)
        self._signs = tuple({sign for need in self._needs for sign in need.signs})

    def finditer(self, words: Words) -> Iterator[re.Match[str]]:
        """Every match in a text, as `finditer` of the one pattern gives them."""
        if self.may(words.known, words.low):
            return _tried(self._pattern, self._firsts, words)
        return iter(())

    def may(self, known: frozenset[str], low: str) -> bool:
        """Whether one of the phrases can stand in a text of these words."""
        return (
            self._loose
            or not self._words.isdisjoint(known)
            or (bool(self._signs) and any(sign in low for sign in self._signs))
        )


def places_of(sign: str, low: str) -> Iterator[int]:
    """Where a stretch of signs stands in a text."""
    at = low.find(sign)
    while at >= 0:
        yield at
        at = low.find(sign, at + len(sign))


def tried(pattern: re.Pattern[str], text: str, starts: Iterable[int]) -> Iterator[re.Match[str]]:
    """Matches as `finditer` gives them, of a pattern that can begin at some places only."""
    end = 0
    for start in starts:
        if start >= end:
            match = pattern.match(text, start)
            if match is not None:
                yield match
                end = match.end()


def _together(every: Sequence[Begins]) -> Begins:
    return Begins(
        frozenset(word for one in every for word in one.words),
        tuple({stem for one in every for stem in one.stems}),
        any(one.number for one in every),
    )


def _tried(pattern: re.Pattern[str], begins: Begins | None, words: Words) -> Iterator[re.Match[str]]:
    return pattern.finditer(words.low) if begins is None else tried(pattern, words.low, words.starts(begins))
