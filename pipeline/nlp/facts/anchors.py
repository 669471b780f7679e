"""Finds which of many phrases can stand in a text at all, by the words and signs that each of them must hold.

Regular expressions are dear and most phrases are in no advert: the words of a text are looked up once, and only the
phrases whose own words are all there are tried, at the places of their first word where that is known.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, islice

from pipeline.nlp.facts.phrases import NUMBER_WORDS, any_of, glued, parts_of, phrase

_WORD = re.compile(r"[^\W_]+")
_WORDS = re.compile(r"([^\W_]+)")
_FIGURE = "{n}"  # among the first words: one that begins with a digit
_APOSTROPHES = re.compile(r"(\w*)'(\w*)")


class Words:
    """The words of a lower-case text with the places where each begins; "10months" holds "months" too."""

    __slots__ = ("_figures", "known", "low", "places")

    def __init__(self, low: str) -> None:
        self.low = low
        self.places: dict[str, list[int]] = {}
        pieces = _WORDS.split(low)  # what no word holds, a word; again and again
        ends = accumulate(map(len, pieces))
        for word, start in zip(pieces[1::2], islice(ends, 0, None, 2), strict=False):  # behind the last is no word
            self.places.setdefault(word, []).append(start)
        self.known = frozenset(self.places).union(glued(low))
        self._figures: list[int] | None = None

    def starts(self, begins: frozenset[str]) -> list[int]:
        """Where one of some words begins, in order."""
        places = self.places
        found = [start for word in begins & self.known if word in places for start in places[word]]
        if _FIGURE in begins:
            if self._figures is None:
                self._figures = [start for word, every in places.items() if word[0].isdecimal() for start in every]
            found = [*{*found, *self._figures}]
        if len(found) > 1:
            found.sort()
        return found


@dataclass(frozen=True, slots=True)
class Need:
    """One of `words` as a whole word, or one of `signs` anywhere."""

    words: frozenset[str]
    signs: tuple[str, ...] = ()

    def met(self, known: frozenset[str], low: str) -> bool:
        if not self.words.isdisjoint(known):
            return True
        return bool(self.signs) and any(sign in low for sign in self.signs)


@lru_cache(maxsize=4096)
def needs(text: str) -> tuple[Need, ...]:
    """What a text must hold for a phrase to stand in it; empty when nothing can be told."""
    found: list[Need] = []
    after_number: list[Need] = []  # may be glued to a number
    numbered = False
    for part in parts_of(text):
        if part[0] == "[":
            continue
        need = None if "{" in part else _need(part)
        if need is not None:
            (after_number if numbered else found).append(need)
        numbered = "{" in part
    return tuple(found or after_number[:1])


def _need(part: str) -> Need | None:
    stem = part[0] == "(" and part.endswith("*")
    choices = part.rstrip("*")[1:-1].split("|") if part[0] == "(" else [part]
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
def firsts(text: str) -> frozenset[str] | None:
    """The words with which a match of a phrase can begin; None when that cannot be told."""
    found: set[str] = set()
    for part in parts_of(text):
        inner = part[1:-1] if part[0] in "[(" else part
        if part == "{n}":
            return frozenset(found | NUMBER_WORDS.keys() | {_FIGURE})
        if "{" in part or (part[0] == "(" and part.endswith("*")):
            return None
        for choice in inner.split("|"):
            word = choice.split()[0]
            match = _WORD.match(word)
            if match is None or "*" in word:
                return None
            if "'" in word:
                plain = _APOSTROPHES.fullmatch(word)
                if plain is None:
                    return None
                found |= {plain[1], plain[1] + plain[2]}
            else:
                found.add(match.group())
        if part[0] != "[":
            return frozenset(found)
    return None


class Lookup:
    """Phrases under keys. `live` names those that a text may hold, in the order in which they were given."""

    def __init__(self, items: Iterable[tuple[str, str]]) -> None:
        self._items: list[tuple[str, str, list[Need]]] = []  # key, phrase, what it needs besides the words of `by_word`
        by_word: dict[str, list[int]] = {}
        self._loose: list[int] = []  # held by no word of their own
        for number, (key, text) in enumerate(items):
            rest = list(needs(text))
            sure = [need for need in rest if need.words and not need.signs]
            if sure:
                best = max(sure, key=lambda need: min(map(len, need.words)))
                rest.remove(best)
                for word in best.words:
                    by_word.setdefault(word, []).append(number)
            else:
                self._loose.append(number)
            self._items.append((key, text, rest))
        self._by_word = {word: tuple(numbers) for word, numbers in by_word.items()}
        self._words = frozenset(by_word)

    def live(self, words: Words) -> dict[str, list[str]]:
        """Key -> its phrases that the text may hold."""
        known, low = words.known, words.low
        numbers = [*self._loose]
        for word in self._words & known:
            numbers += self._by_word[word]
        numbers.sort()
        found: dict[str, list[str]] = {}
        last = -1
        for number in numbers:
            if number == last:  # two of its words are there
                continue
            last = number
            key, text, rest = self._items[number]
            for need in rest:
                if not need.met(known, low):
                    break
            else:
                found.setdefault(key, []).append(text)
        return found


def spots(text: str, words: Words) -> Iterator[re.Match[str]]:
    """Every match of one phrase in a text, as `finditer` gives them."""
    return _tried(phrase(text).pattern, firsts(text), words)


class AnyOf:
    """Any of some phrases, the longest first; tried only where one of them may begin."""

    def __init__(self, texts: Sequence[str]) -> None:
        self._pattern = any_of(tuple(texts))
        begins = [firsts(text) for text in texts]
        self._firsts = None if None in begins else frozenset(word for one in begins for word in one or ())
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
        return self._loose or not self._words.isdisjoint(known) or any(sign in low for sign in self._signs)


def _tried(pattern: re.Pattern[str], begins: frozenset[str] | None, words: Words) -> Iterator[re.Match[str]]:
    if begins is None:
        yield from pattern.finditer(words.low)
        return
    low, end = words.low, 0
    for start in words.starts(begins):
        if start >= end:
            match = pattern.match(low, start)
            if match is not None:
                yield match
                end = match.end()
