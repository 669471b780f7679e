"""Features of an advert's chunks for the trained reader: numbers for words, their neighbours and what the rules say.

A feature is a 64-bit number mixed from a role ("word of the chunk", "word of the sentence before") and words or rule
ids. The model knows some of them; the rest count for nothing. Everything is linear in the text.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.nlp.mentions import Cue, Mention
from pipeline.nlp.segments import Sentence
from pipeline.nlp.tokens import Tokens

Numbers = NDArray[np.uint64]
Places = NDArray[np.int64]

_MASK = (1 << 64) - 1
_ONE, _TWO, _THREE = 0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9  # odd, from xxHash
_MIX = 0xFF51AFD7ED558CCD  # from MurmurHash3's finaliser
_DIGITS = re.compile(r"\d+")
_LENGTHS = 12
_BEGINNING = 5  # letters of a word that stand for its family


def number_of(name: str) -> int:
    """A 64-bit number that stands for a name, the same on every machine."""
    data = name.encode("utf-8", "surrogatepass")
    return (zlib.crc32(data) << 32 | zlib.adler32(data)) * _ONE & _MASK


def mixed(one: int, two: int = 0) -> int:
    """The number of a feature made of two numbers, as `mix` gives it for arrays."""
    value = (one * _ONE + two * _TWO) & _MASK
    value ^= value >> 31
    value = value * _MIX & _MASK
    return value ^ value >> 33


def mix(raw: Numbers) -> Numbers:
    """Spreads the bits of sums of numbers, in place."""
    raw ^= raw >> np.uint64(31)
    raw *= np.uint64(_MIX)
    raw ^= raw >> np.uint64(33)
    return raw


def _role(name: str) -> np.uint64:
    return np.uint64(number_of("role " + name))


_ROLES = {
    name: _role(name)
    for name in ("c1", "c2", "c3", "cs", "b", "e", "x", "p1", "n1", "p2", "n2", "s1", "ps", "ns", "len")
}
_A, _B, _C = np.uint64(_ONE), np.uint64(_TWO), np.uint64(_THREE)


class Words:
    """The numbers of words and of their beginnings, kept in rows of an array; bounded."""

    def __init__(self, limit: int = 60_000) -> None:
        self._limit = limit
        self._rows: dict[str, int] = {}
        self.table = np.zeros((1024, 2), np.uint64)

    def rows(self, words: Sequence[str]) -> Places:
        """Rows of `table` for the words; columns: word, beginning."""
        known = self._rows
        found = [known.get(word, -1) for word in words]
        if -1 in found:
            if len(known) + len(words) > self._limit:
                known.clear()
            found = [known[word] if word in known else self._add(word) for word in words]
        return np.array(found, np.int64)

    def _add(self, word: str) -> int:
        row = len(self._rows)
        if row == len(self.table):
            self.table = np.concatenate([self.table, np.zeros_like(self.table)])
        shape = _DIGITS.sub("0", word[:40])
        self.table[row] = number_of(shape), number_of("x" + shape[:_BEGINNING])
        self._rows[word] = row
        return row


@dataclass(slots=True)
class Encoded:
    """Features of an advert. Feature i belongs to row `rows[i]`: chunks first, then sentences (shared by their chunks).

    `first`, `last`: token span of each chunk (end exclusive); `sentence`: its sentence; `at`: token -> chunk or -1;
    `words`: rows of the word table for the tokens that stand in chunks; `opens`: where a chunk's tokens begin there.
    """

    rows: Places
    numbers: Numbers
    first: list[int]
    last: list[int]
    sentence: Places
    sentences: int
    at: list[int]
    words: Places
    opens: Places
    link: list[str]


def encode(
    tokens: Tokens, sentences: Sequence[Sentence], mentions: Iterable[Mention], cues: Iterable[Cue], words: Words
) -> Encoded | None:
    """Features of the chunks of a text that the rules have read; None when there are no chunks."""
    first: list[int] = []
    last: list[int] = []
    owner: list[int] = []
    link: list[str] = []
    for number, sentence in enumerate(sentences):
        for part in sentence.chunks:
            if part.end > part.start:
                first.append(part.start)
                last.append(part.end)
                owner.append(number)
                link.append(part.link)
    if not first:
        return None
    size = len(first)
    starts, ends, of = np.array(first), np.array(last), np.array(owner)
    lengths = ends - starts
    opens = np.cumsum(lengths) - lengths
    chunk = np.repeat(np.arange(size), lengths)
    place = np.arange(len(chunk)) - opens[chunk] + starts[chunk]
    norms = tokens.norms
    rows = words.rows([norms[i] for i in place.tolist()])
    at_array = np.full(len(norms), -1)
    at_array[place] = chunk
    at = at_array.tolist()
    found, raws = _word_features(words.table[rows], chunk, of, opens, lengths, size)
    shape = np.minimum(lengths, _LENGTHS).astype(np.uint64) * _A + _ROLES["len"]
    found.append(np.arange(size))
    raws.append(shape)
    numbers = mix(np.concatenate(raws))
    extra_rows, extra = _rule_features(sentences, mentions, cues, at, owner, link, size)
    return Encoded(
        rows=np.concatenate([*found, np.array(extra_rows, np.int64)]),
        numbers=np.concatenate([numbers, np.array(extra, np.uint64)]),
        first=first,
        last=last,
        sentence=of,
        sentences=len(sentences),
        at=at,
        words=rows,
        opens=opens,
        link=link,
    )


def _word_features(
    table: NDArray[Any], chunk: Places, of: Places, opens: Places, lengths: Places, size: int
) -> tuple[list[Places], list[Numbers]]:
    """Rows and unmixed numbers of all features made of words. `table`: (tokens, columns) of the word table."""
    r = _ROLES
    word, begin = np.ascontiguousarray(table[:, 0]), table[:, 1]
    one = word * _A
    near = chunk[:-1] == chunk[1:]
    pairs = (one[:-1] + word[1:] * _B)[near]
    pair_chunk = chunk[:-1][near]
    far = chunk[:-2] == chunk[2:]
    skips = (one[:-2] + word[2:] * _B)[far]
    triples = skips + (word[1:-1] * _C)[far]
    far_chunk = chunk[:-2][far]
    every = np.arange(size)
    rows = [chunk, chunk, pair_chunk, far_chunk, far_chunk, every, every]
    raws = [
        one + r["c1"], begin * _A + r["x"], pairs + r["c2"], skips + r["cs"], triples + r["c3"],
        one[opens] + r["b"], one[opens + lengths - 1] + r["e"],
    ]  # fmt: skip
    sentence = of[chunk]
    same = of[:-1] == of[1:]  # chunk i and i + 1 stand in one sentence
    has_next, has_before = np.append(same, False), np.append(False, same)
    for number, there, after, before in ((one, chunk, "p1", "n1"), (pairs, pair_chunk, "p2", "n2")):
        ahead, behind = has_next[there], has_before[there]
        rows += [there[ahead] + 1, there[behind] - 1]
        raws += [number[ahead] + r[after], number[behind] + r[before]]
    last = int(of[-1])
    _, kept = np.unique(mix(one + sentence.astype(np.uint64) * _C), return_index=True)
    there, kinds = sentence[kept] + size, one[kept]
    ahead, behind = there < last + size, there > size
    rows += [there, there[ahead] + 1, there[behind] - 1]
    raws += [kinds + r["s1"], kinds[ahead] + r["ps"], kinds[behind] + r["ns"]]
    return rows, raws


_known: dict[tuple[str, str], int] = {}


def named(role: str, name: str) -> int:
    """The number of a feature of a rule or a cue; there are few, so they are kept."""
    known = _known.get((role, name))
    if known is None:
        known = _known[role, name] = mixed(number_of("rule " + role), number_of(name))
    return known


def _rule_features(
    sentences: Sequence[Sentence],
    mentions: Iterable[Mention],
    cues: Iterable[Cue],
    at: list[int],
    owner: list[int],
    link: list[str],
    size: int,
) -> tuple[list[int], list[int]]:
    """Rows and numbers of the features that the rules give."""
    rows: list[int] = []
    numbers: list[int] = []

    def add(row: int, role: str, name: str) -> None:
        rows.append(row)
        numbers.append(named(role, name))

    for row, kind in enumerate(link):
        add(row, "link", kind)
    for number, sentence in enumerate(sentences):
        if sentence.heading is not None:
            add(size + number, "heading", sentence.heading.id)
            add(size + number, "heading.status", str(sentence.heading.status))
        if sentence.question:
            add(size + number, "question", "")
    last = len(sentences) - 1
    for mention in mentions:
        row = at[mention.start]
        if row < 0:
            continue
        subject = mention.subject
        add(row, "mention", subject)
        add(row, "mention.rule", mention.rule.id)
        number = owner[row]
        add(size + number, "mention.sentence", subject)
        if number < last:
            add(size + number + 1, "mention.before", subject)
        for status, rule, _, _ in mention.statuses:
            add(row, "told", f"{subject} {status}")
            add(row, "told.rule", f"{mention.rule.id} {rule}")
    for cue in cues:
        row = at[cue.start]
        if row >= 0:
            add(row, "cue", cue.kind)
            add(row, "cue.rule", cue.rule.id)
    return rows, numbers
