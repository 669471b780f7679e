"""What in a saved advert does not agree with itself: its text with the data beside it, letters with what they seem."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

from pipeline.types import Fact, Reading

# Capital letters of other scripts that look like Latin ones (Unicode Technical Standard 39, confusables; from memory).
LOOKALIKES = dict(
    zip("АВЕКМНОРСТУХІЈЅΑΒΕΖΗΙΚΜΝΟΡΤΥΧ", "ABEKMHOPCTYXIJSABEZHIKMNOPTYX", strict=True)
)  # fmt: skip
_LETTERS = "".join(LOOKALIKES)
_MIXED = re.compile(rf"\b(?=\w*[{_LETTERS}])(?=\w*[A-Za-z])\w{{2,30}}\b")
_MARK = re.compile(  # a British mark or a chassis number, by its shape
    r"\b(?:[A-Z]{2}\d{2} ?[A-Z]{3}|[A-Z]\d{1,3} ?[A-Z]{3}|[A-Z]{3} ?\d{1,3}[A-Z]|[A-HJ-NPR-Z0-9]{17})\b"
)
MOST_NAMED = 3


def doubts_of(texts: Iterable[str], readings: Sequence[Reading]) -> dict[str, str]:
    """Check id -> what does not agree, in words. Each only ever raises a question; nothing is put right."""
    found: dict[str, str] = {}
    differing = [said for reading in readings for said in _differing(reading)]
    if differing:
        found["stated_differs"] = "; ".join(dict.fromkeys(differing))
    marks = [mark for text in texts for mark in lookalike_words(text)]
    if marks:
        found["lookalike_letters"] = "; ".join(dict.fromkeys(marks[:MOST_NAMED]))
    return found


def _differing(reading: Reading) -> Iterable[str]:
    chosen = {fact.key: fact for fact in reading.facts if fact.origin == "text"}
    for rival in reading.rivals:
        own = chosen.get(rival.key)
        if rival.origin != "text" and own is not None:
            name = rival.key.replace("_", " ")
            yield f"{name}: the words say {_shown(own)}, {rival.origin} says {_shown(rival)}"


def _shown(fact: Fact) -> str:
    value = fact.value
    if isinstance(value, list | tuple):
        return " or ".join(map(str, value))
    return f"{value:,}" if isinstance(value, int | float) and fact.key != "year" else str(value)


def lookalike_words(text: str) -> tuple[str, ...]:
    """Words that mix scripts, and plates or chassis numbers written with letters that only look Latin."""
    if text.isascii():
        return ()
    plain = text.translate({ord(a): b for a, b in LOOKALIKES.items()})  # one for one: offsets stay
    words = dict.fromkeys(text[m.start() : m.end()] for m in (*_MARK.finditer(plain), *_MIXED.finditer(text)))
    odd = [word for word in words if _foreign(word)]
    whole = [word for word in odd if not any(word != other and word in other for other in odd)]
    return tuple(f"{word} ({_foreign(word)})" for word in whole)


def _foreign(word: str) -> str:
    """The names of the letters of other scripts in a word."""
    odd = dict.fromkeys(c for c in word if c in _LETTERS)
    return ", ".join(unicodedata.name(c, "unnamed").lower() for c in odd)
