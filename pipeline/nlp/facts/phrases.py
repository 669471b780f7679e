"""Compiles the plain phrases of rules/facts/ to bounded regular expressions."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

NUMBER_WORDS = {
    "zero": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16,
    "first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "eighth": 8,
    "1st": 1, "2nd": 2, "3rd": 3, "4th": 4, "5th": 5, "6th": 6, "7th": 7, "single": 1, "couple": 2,
}  # fmt: skip
_GAP = r"['’:]?[\s\-(]{1,3}"
_NUMBER = r"(?P<n>\d{1,2}(?:st|nd|rd|th)?|" + "|".join(sorted(NUMBER_WORDS, key=len, reverse=True)) + ")"
_PART = re.compile(r"\[[^\]]*\]|\([^)]*\)\*?|\S+")


@dataclass(frozen=True, slots=True)
class Phrase:
    """A compiled phrase."""

    pattern: re.Pattern[str]
    numbered: bool  # a group `n` holds a number


@lru_cache(maxsize=4096)
def phrase(text: str) -> Phrase:
    """One phrase, matched in any case between word boundaries; lower-case text is expected."""
    pattern = re.compile(rf"(?<![\w]){source(text)}(?![\w])")
    return Phrase(pattern, "n" in pattern.groupindex)


@lru_cache(maxsize=512)
def any_of(texts: tuple[str, ...]) -> re.Pattern[str]:
    """One pattern that matches any of the phrases (no `{n}` in them)."""
    ordered = sorted(texts, key=len, reverse=True)
    return re.compile(r"(?<![\w])(?:" + "|".join(source(text) for text in ordered) + r")(?![\w])")


@lru_cache(maxsize=512)
def ending(texts: tuple[str, ...]) -> re.Pattern[str]:
    """Matches a stretch that ends with one of the phrases, little words and signs after it allowed."""
    ordered = sorted(texts, key=len, reverse=True)
    little = "is|was|at|of|to|the|a|for|just|only|about|around|approx|ca|circa|c|my|now|under"
    filler = rf"(?:[\s:=,\-–—~(\"'*]{{0,4}}(?:{little})?){{0,2}}"
    return re.compile(r"(?<![\w])(?:" + "|".join(source(text) for text in ordered) + rf")(?![\w]){filler}[\W]{{0,4}}$")


@lru_cache(maxsize=512)
def starting(texts: tuple[str, ...], over_commas: bool = True) -> re.Pattern[str]:
    """Matches a stretch that starts with one of the phrases, signs before it allowed."""
    signs = r"[\W]{0,4}" if over_commas else r"[^\w,;:]{0,3}"
    ordered = sorted(texts, key=len, reverse=True)
    return re.compile(signs + "(?:" + "|".join(source(text) for text in ordered) + r")(?![\w])")


def source(text: str) -> str:
    """The regular expression of a phrase."""
    made, gap = "", False
    for part in parts_of(text):
        optional = part[0] == "["
        inner = part[1:-1] if optional else part
        piece = _piece(f"({inner})" if optional and "|" in inner else inner)
        between = r"['’.]?[\s\-]{0,3}" if made.endswith("</n>") else _GAP
        made = made.replace("</n>", "")
        after_number = "</n>" if "(?P<n>" in piece else ""
        if optional:
            made += f"(?:{between}{piece})?" if gap else f"(?:{piece}{_GAP})?"
        else:
            made += (between if gap else "") + piece + after_number
            gap = True
    return made.replace("</n>", "")


def count(text: str) -> int | None:
    """Number of a digit string, ordinal or number word."""
    low = text.lower()
    if low in NUMBER_WORDS:
        return NUMBER_WORDS[low]
    digits = low.rstrip("stndrh")
    return int(digits) if digits.isdecimal() else None


def parts_of(text: str) -> list[str]:
    """The parts of a phrase: words, `[...]` and `(...)`."""
    return _PART.findall(text.lower())


def _piece(part: str) -> str:
    if part[0] == "(":
        stem = part.endswith("*")
        inner = part[1:-2] if stem else part[1:-1]
        return "(?:" + "|".join(_spaced(choice) for choice in inner.split("|")) + ")" + (r"\w{0,12}" if stem else "")
    return _spaced(part)


def _spaced(words: str) -> str:
    return _GAP.join(_word(word) for word in words.split())


def _word(word: str) -> str:
    if word == "{n}":
        return _NUMBER
    if word == "{word}":
        return r"[a-z]{3,15}"
    if word == "{year}":
        return r"(?:19|20)\d\d"
    stem = word.endswith("*")
    plain = re.escape(word[:-1] if stem else word).replace("'", "['’]?")
    return plain + (r"\w{0,12}" if stem else "")
