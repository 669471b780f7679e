"""Divides tokens into sentences (also bullets and `Key: value` lines) and these into chunks, with headings carried.

A chunk is a stretch between commas, conjunctions, brackets and the like; how it is linked to the one before it
decides what it may inherit. Sentences are cut at a length, so that work stays linear in the text.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Set
from dataclasses import dataclass
from itertools import compress

from pipeline.nlp.lexicon import word_set
from pipeline.nlp.mentions import Bearing
from pipeline.nlp.tokens import Tokens

WEAK = frozenset({",", "and", "&", "+", "or", "nor", "n", "plus", "/", "also"})
STRONG = frozenset(
    {
        "but", ";", "though", "although", "however", "(", ")", "[", "]", "-", "–", "—", "yet", "while", "whereas",
        "because", "so", "then", "*", "•", "·", "|", "...", "…", "..", "~", "whilst", "tho", "→", ">", "★", "☆", "cos",
        "coz", "otherwise", "unless", "until", "till",
    }
)  # fmt: skip
_JOINS = {**dict.fromkeys(WEAK, "weak"), **dict.fromkeys(STRONG, "strong"), ":": "colon"}
_ENDS = frozenset({".", "!", "?", "\n"})
_EXTRA = 4  # words after a heading's known ones ("Work done since I bought it:")
_BULLETS = word_set("- – — * • · > ~ + ★ ✓ →")
_DASHES = word_set("- – —")
_WRAPPED = 50  # a line this long may go on in the next
_LONGEST = 120  # tokens in a sentence
_CUT_BACK = 30  # tokens in which a better place for the cut is looked for


@dataclass(slots=True)
class Chunk:
    """Tokens start..end (exclusive). `link`, how it joins the one before: start, weak, strong, colon, except, with."""

    start: int
    end: int
    link: str
    joiner: str


@dataclass(slots=True)
class Sentence:
    """A sentence, bullet or line of a sheet."""

    start: int
    end: int
    chunks: list[Chunk]
    heading: Bearing | None
    question: bool
    line: int


def segment(
    tokens: Tokens,
    headings: Mapping[int, tuple[int, Bearing]],
    breaks: Mapping[int, str] | None = None,
    inside: Set[int] = frozenset(),
    stops: Set[int] = frozenset(),
    pauses: Set[int] = frozenset(),
) -> list[Sentence]:
    """Sentences of the tokens. `headings`: first token -> (end token, rule) of every heading cue found.
    `breaks`: tokens with which a chunk begins because of a cue -> its link. `inside`: tokens within a phrase that
    was found, where no chunk begins. `stops`, `pauses`: tokens with which a sentence, or a chunk, begins though nothing
    stands before them (`run_on.py`)."""
    norms, text = tokens.norms, tokens.text
    size = len(norms)
    breaks = breaks or {}
    joints = list(compress(range(size), map(_JOINS.__contains__, norms)))
    if breaks or pauses:
        joints = sorted({*joints, *breaks, *pauses})
    ends = list(compress(range(size), map(_ENDS.__contains__, norms)))
    if stops:
        ends = sorted({*ends, *stops})
    sentences: list[Sentence] = []
    active: Bearing | None = None
    inline = False  # the heading holds for its own line only
    content = False  # something stood below a block heading already
    shouted = False  # the heading stands in capitals
    line = 0
    at = 0
    while at < size:
        norm = norms[at]
        if norm == "\n":
            line += 1
            if inline or (content and text.count("\n", tokens.starts[at], tokens.ends[at]) > 1):
                active, inline, content = None, False, False
            at += 1
            continue
        if norm in _ENDS or (not norm[0].isalnum() and norm not in ("£", "$", "€", "'", '"', "(")):
            at += 1
            continue
        hit = headings.get(at)
        body = _heading_end(norms, hit[0]) if hit is not None else None
        if hit is not None and body is not None:
            active, content = hit[1], False
            inline = norms[body - 1] != "\n" and norms[body] != "\n"
            shouted = text[tokens.starts[at] : tokens.ends[body - 1]].isupper()
            at = body
            continue
        if active is not None and (_opens(norms, at) or (shouted and _shouts(tokens, at))):
            active = None
        sentence = _sentence(tokens, at, line, active, breaks, inside, joints, ends)
        content = content or active is not None
        sentences.append(sentence)
        at = sentence.end
    return sentences


def _heading_end(norms: list[str], end: int) -> int | None:
    """Token after a heading whose known words end at `end`; None when a sentence begins with them instead."""
    size = len(norms)
    stop = end
    while stop < size and stop - end < _EXTRA and norms[stop].isalpha():
        stop += 1
    if stop + 1 >= size:
        return None
    closer, after = norms[stop], norms[stop + 1]
    if closer == ":" or (closer == "\n" and (stop == end or after in _BULLETS)):
        return stop + (closer == ":")
    return stop + 1 if closer in _DASHES and stop == end else None


def _opens(norms: list[str], at: int) -> bool:
    """Whether a heading of some other kind stands here: a few words, a colon and the end of the line."""
    stop = at
    while stop < len(norms) - 1 and stop - at <= _EXTRA and norms[stop].isalpha():
        stop += 1
    return stop > at and norms[stop] == ":" and norms[stop + 1 : stop + 2] == ["\n"]


def _shouts(tokens: Tokens, at: int) -> bool:
    """Whether a few words in capitals and a colon stand here, like the heading before ("DONE: ... PRICE: ...")."""
    stop = at
    while stop < len(tokens) - 1 and stop - at <= _EXTRA and tokens.norms[stop].isalpha():
        stop += 1
    return stop > at and tokens.norms[stop] == ":" and tokens.text[tokens.starts[at] : tokens.ends[stop - 1]].isupper()


def _sentence(
    tokens: Tokens,
    at: int,
    line: int,
    heading: Bearing | None,
    breaks: Mapping[int, str],
    inside: Set[int],
    joints: list[int],
    ends: list[int],
) -> Sentence:
    """The sentence that begins at token `at`. `joints`, `ends`: where the text's chunks and sentences may end."""
    norms = tokens.norms
    size = len(norms)
    limit = end = min(size, at + _LONGEST)
    for number in range(bisect_right(ends, at), len(ends)):
        place = ends[number]
        if place >= limit:
            break
        if norms[place] != "\n" or not _wraps(tokens, place):
            end = place
            break
    if end == limit < size:
        end = next((place for place in range(end, end - _CUT_BACK, -1) if norms[place] in WEAK), end)
    chunks: list[Chunk] = []
    link, joiner, start = "start", "", at
    for place in joints[bisect_left(joints, at) : bisect_left(joints, end)]:
        if place in inside:
            continue
        norm = norms[place]
        kind = _JOINS.get(norm)
        if kind is None:
            forced = breaks.get(place, "weak")
            if place > start:
                chunks.append(Chunk(start, place, link, joiner))
            link, joiner, start = forced if chunks or forced == "except" else "start", norm, place
            continue
        if place > start:
            chunks.append(Chunk(start, place, link, joiner))
            link, joiner = kind, norm
        elif kind == "strong" or link == "start":
            link, joiner = (kind if chunks else "start"), norm
        elif link == "weak":
            joiner = norm
        start = place + 1
    if end > start:
        chunks.append(Chunk(start, end, link, joiner))
    return Sentence(at, end, chunks, heading, end < size and norms[end] == "?", line)


def _wraps(tokens: Tokens, at: int) -> bool:
    """Whether the line break at token `at` stands inside a sentence that was folded."""
    text, start, end = tokens.text, tokens.starts[at], tokens.ends[at]
    if end - start > 2 or end >= len(text) or not text[end].islower():
        return False
    before = text.rfind("\n", 0, start)
    return start - before > _WRAPPED
