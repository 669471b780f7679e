"""Cuts an advert into tokens: advert shorthand stays whole, offsets stay those of the text.

`norm` is the lower-case form without apostrophes and plural endings on which all rules are matched.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from itertools import accumulate
from sys import intern

from pipeline.nlp.lexicon import word_set
from pipeline.nlp.spelling import Spelling

# Order matters: longest shorthand first. Every character is skipped at most once, so time is linear in the text. The
# two groups are a blank, where one stands, and a token.
_INVISIBLE = r"[\u0300-\u036f\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufe00-\ufe0f\ufeff]"  # and accents
_TOKEN = re.compile(
    r"( ?)([a-zA-Z]++(?=[ ,\n])"  # most words, first for speed: no shorthand ends so
    r"|[,;:!?()]|\.+"  # most signs, early for speed too
    rf"|[^\W\d_]{{4,}}+(?!{_INVISIBLE}|['’`´])"  # nor has four letters in a row
    r"|\n[^\S\n]*(?:\n[^\S\n]*)*"  # line break(s): one token
    r"|[£$€]\s?\d[\d,.]*\d[kK]?|[£$€]\s?\d[kK]?"  # money
    r"|\d{1,2}[/.]\d{1,2}[/.]\d{2,4}|\d{1,2}/\d{2,4}"  # dates
    r"|[nNoOpP][/.]?[sS](?:[/.]?[fFrR])?(?![A-Za-z])"  # n/s/f, os, nsr
    r"|\d{1,3}(?:[,.]\d{3})+[kK]?(?![\d])|\d+(?:\.\d+)?[a-zA-Z]{1,4}(?![A-Za-z])|\d+(?:\.\d+)?"  # 118,000 86k 12mths
    r"|[A-Za-z](?:/[A-Za-z]){1,2}(?![A-Za-z])"  # a/c, p/x
    r"|(?:[A-Za-z]\.){2,}[A-Za-z]?(?![A-Za-z])"  # o.n.o.
    rf"|[^\W\d_]+(?:{_INVISIBLE}+[^\W\d_]*|['’`´][^\W\d_]+)*"  # words, don't
    rf"|{_INVISIBLE}+"
    r"|[^\w\s]|_)"
)
_APOSTROPHES = re.compile(r"['’`´]")
_HIDDEN = re.compile(_INVISIBLE)
# Words whose final s is no plural, or whose s-form says something of its own ("works" is praise, "work" is not).
_KEEP = word_set(
    "works runs gas bus was is has does goes this us plus its his hers ours yours less glass class pass cross "
    "always previous various serious obvious chassis axis tetris news abs ss os ns pas ps cvs lens across loss boss "
    "grass thats hes shes whats theres lets perhaps besides sometimes towards afterwards series species ultrasonic "
    "kms mths as yes shifts changes drives pulls starts stops fires bites wants needs says sits dis miss press "
    "process mass excess access address business brass moss toss guess bless unless status virus focus bonus campus "
    "radius bias canvas atlas texas kansas christmas xmas tennis basis crisis analysis"
)
# Shorthand that without its stroke would be a common word ("a/t", "u/s").
_CONTRACTED = {"she'll": "shewill", "he'll": "hewill", "we'll": "wewill", "i'll": "iwill", "we're": "weare",
               "who're": "whoare", "he'd": "hewould", "she'd": "shewould", "we'd": "wewould"}  # fmt: skip
_STROKED = word_set("at us or on no so as is am to an in of it if be by we he me up do go")
_IRREGULAR = {
    "tires": "tyre", "tire": "tyre", "tyres": "tyre", "gaskit": "gasket", "batterys": "battery", "clutchs": "clutch",
    "wont": "wont", "aint": "isnt", "dosent": "doesnt", "dosnt": "doesnt", "doesent": "doesnt", "dont": "dont",
    "didnt": "didnt", "colour": "colour", "color": "colour", "grey": "grey", "gray": "grey", "leaves": "leaf",
    "wanna": "want", "abit": "abit", "alot": "alot", "bushs": "bush", "cannot": "cant", "axels": "axle",
    "axel": "axle", "brakes": "brake", "breaks": "brake", "disks": "disc", "disk": "disc", "rotors": "rotor",
    "aluminum": "aluminium", "mould": "mold", "mouldy": "moldy", "drys": "dry", "goin": "going", "leakin": "leaking",
    "runnin": "running", "knockin": "knocking", "fixin": "fixing", "workin": "working", "needin": "needing",
    "needs": "need", "wants": "want",
}  # fmt: skip


def normal(word: str) -> str:
    """The form on which rules are matched."""
    low = word.lower()
    if "\n" in low:
        return "\n"
    if not low.isascii():
        low = _HIDDEN.sub("", unicodedata.normalize("NFKC", low)).lower()
        if not low:
            return ""
    if not low[0].isalpha():
        return low
    if not low.isalpha():
        plain = _APOSTROPHES.sub("'", low)
        low = _CONTRACTED.get(plain) or plain.replace("'", "")
    known = _IRREGULAR.get(low)
    if known is not None:
        return known
    size = len(low)
    if not low.isalpha():
        short = low.replace("/", "").replace(".", "")
        return low if short in _STROKED else short
    if size < 4 or low[-1] != "s" or low in _KEEP:
        return low
    if low.endswith("ies") and size > 4:
        return low[:-3] + "y"
    if low.endswith(("ches", "shes", "xes", "sses", "zes")) and not low.endswith("aches"):
        return low[:-2]
    if low.endswith(("ss", "us", "is")):
        return low
    return low[:-1]


class Normaliser(dict[str, str]):
    """Words and their forms as `normal` gives them, put right by a `spelling`; adverts repeat their words, so what is
    found is kept, within bounds."""

    def __init__(self, spelling: Spelling | None = None, limit: int = 50_000) -> None:
        self._limit = limit
        self._spelling = spelling

    def __missing__(self, word: str) -> str:
        form = normal(word)
        if self._spelling is not None:
            form = self._spelling.right(word, form)
        form = intern(form)  # one object a word: patterns are looked up by it again and again
        if len(self) >= self._limit:
            self.clear()
        if len(word) < 40:
            self[word] = form
        return form


@dataclass(slots=True)
class Tokens:
    """The tokens of a text: `norms[i]` is the normal form of text[starts[i]:ends[i]]."""

    text: str
    starts: list[int]
    ends: list[int]
    norms: list[str]

    def __len__(self) -> int:
        return len(self.norms)


def tokenize(text: str, normaliser: Normaliser) -> Tokens:
    """Tokens of a text; white space other than line breaks is dropped, nothing else is."""
    pieces = _TOKEN.split(text)  # what no token holds, a blank or nothing, a token; again and again
    places = list(accumulate(map(len, pieces)))
    starts, ends, words = places[1::3], places[2::3], pieces[2::3]
    norms = list(map(normaliser.__getitem__, words))
    if "-" in words or "" in norms:
        kept = [
            at
            for at, (word, norm) in enumerate(zip(words, norms, strict=True))
            if norm and (word != "-" or not _inside_word(text, starts[at]))
        ]
        starts, ends, norms = [starts[at] for at in kept], [ends[at] for at in kept], [norms[at] for at in kept]
    return Tokens(text, starts, ends, norms)


def pattern_words(text: str, normaliser: Normaliser) -> list[str]:
    """Normal forms of a pattern's or a test sentence's words."""
    return tokenize(text, normaliser).norms


def _inside_word(text: str, at: int) -> bool:
    return text[at - 1 : at].isalnum() and text[at + 1 : at + 2].isalnum()
