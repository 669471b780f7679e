"""Long words that no dictionary holds, put right to the word of the rules that they are a slip of the pen away from.

Only what is no English word and no word of the rules is looked at, so that "heating" stays what "heading" is not. A
slip is a letter too many, missing, wrong, or two that changed places (optimal string alignment, Damerau 1964,
Communications of the ACM 7:171-176); the first letter is always right. Each word is looked up once and then kept by
`Normaliser`, so it costs by how many words an advert has that none before it had.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from functools import cache

from rapidfuzz import process
from rapidfuzz.distance import OSA
from spellchecker import SpellChecker

SHORTEST = 6  # letters of a word that is put right: shorter ones are too like one another
OF_NAMES = 8  # and of one that begins with a capital: most that nobody knows are names of places, makes and people
_TWICE = 9  # letters from which on a word may have two slips


@cache
def english() -> frozenset[str]:
    """Words of pyspellchecker's English dictionary, in small letters."""
    return frozenset(SpellChecker(language="en").word_frequency.keys())


class Spelling:
    """The words of rules, and what is meant by those that look like them."""

    def __init__(self, words: Iterable[str]) -> None:
        """`words`: normal forms of all words of the rules, slips that they name themselves among them."""
        self._known = {word for word in words if word.isalpha()}
        self._right: dict[str, list[str]] = defaultdict(list)
        dictionary = english()
        for word in sorted(self._known):
            if len(word) >= SHORTEST and word in dictionary:
                self._right[word[0]].append(word)

    def right(self, word: str, form: str) -> str:
        """The word of the rules that is meant by a word of normal form `form`, or `form` itself."""
        size = len(form)
        if size < SHORTEST or form in self._known or not form.isalpha():
            return form
        capital = word[0].isupper()
        dictionary = english()
        if (capital and size < OF_NAMES) or form in dictionary or word.lower() in dictionary:
            return form
        slips = 2 if size >= _TWICE and not capital else 1
        like = [other for other in self._right.get(form[0], ()) if abs(len(other) - size) <= slips]
        found = process.extractOne(form, like, scorer=OSA.distance, score_cutoff=slips)
        return form if found is None else str(found[0])
