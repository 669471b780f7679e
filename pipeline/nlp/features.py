"""Features of the chunks of adverts for the trained reader: numbers for words, their neighbours and what the rules say.

A feature is a 64-bit number mixed from a role ("word of the chunk", "word of the sentence before") and words or rule
ids. The model knows some of them; the rest count for nothing. Everything is linear in the text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from pipeline.nlp.mentions import Mention
from pipeline.nlp.reader import Read
from pipeline.nlp.words import (
    AFTER,
    BEFORE,
    CHUNK,
    LAST,
    NEXT,
    ONE,
    SENTENCE,
    THREE,
    TWO,
    WORD_ROLES,
    Numbers,
    Places,
    Words,
    mix,
    mixed,
    number_of,
    role_of,
)

_LENGTHS = 12
_WORD_GOES = list(WORD_ROLES.values())
_PAIR_ROLES = np.array([[role_of("c2")], [role_of("p2")], [role_of("n2")]], np.uint64)
_PAIR_GOES = [CHUNK, AFTER, BEFORE]
_SKIP, _TRIPLE = np.uint64(role_of("cs")), np.uint64(role_of("c3"))
_A, _B, _C = np.uint64(ONE), np.uint64(TWO), np.uint64(THREE)
_LENGTH = np.array([mixed(length, role=role_of("len")) for length in range(_LENGTHS + 1)], np.uint64)


@dataclass(slots=True)
class Encoded:
    """Features of adverts read together; their chunks and sentences are numbered on from one advert to the next.

    Feature i belongs to row `rows[i]`: chunks first, then sentences (shared by their chunks). `first`, `last`: token
    span of each chunk in its advert (end exclusive); `sentence`: its sentence, in which it is number `inner`; `words`:
    columns of the word table for the tokens that stand in chunks; `opens`, `lengths`: where a chunk's tokens begin
    there, and how many they are; `chunks`: of each advert, how many; `heads`: of each advert, its first sentence.
    `mentions`, `cues`: chunk -> what the rules found in it, where they did; of a cue, kind and rule. `named`: chunk and
    subject -> the mentions of it there.
    """

    rows: Places
    numbers: Numbers
    first: list[int]
    last: list[int]
    sentence: Places
    inner: list[int]
    sentences: int
    words: Places
    opens: Places
    lengths: Places
    chunks: list[int]
    heads: list[int]
    mentions: Mapping[int, Sequence[Mention]]
    cues: Mapping[int, Sequence[tuple[str, str]]]
    named: Mapping[tuple[int, str], Sequence[Mention]]


def encode(reads: Sequence[Read], words: Words) -> Encoded | None:
    """Features of the chunks of texts that the rules have read; None when there are no chunks."""
    first: list[int] = []
    last: list[int] = []
    link: list[str] = []
    said: list[str] = []
    sizes: list[int] = []  # chunks of each sentence
    chunks: list[int] = []
    heads: list[int] = []
    mentions: dict[int, list[Mention]] = {}
    cues: dict[int, list[tuple[str, str]]] = {}
    spoken: dict[tuple[int, str], list[Mention]] = {}
    for read in reads:
        norms = read.tokens.norms
        there = [-1] * len(norms)
        heads.append(len(sizes))
        parts = [part for sentence in read.sentences for part in sentence.chunks]
        sizes += [len(sentence.chunks) for sentence in read.sentences]
        chunks.append(len(parts))
        for chunk, part in enumerate(parts, len(first)):
            start, end = part.start, part.end
            there[start:end] = [chunk] * (end - start)
            said += norms[start:end]
        first += [part.start for part in parts]
        last += [part.end for part in parts]
        link += [part.link for part in parts]
        for mention in read.mentions:
            at = there[mention.start]
            mentions.setdefault(at, []).append(mention)
            spoken.setdefault((at, mention.subject), []).append(mention)
        for cue in read.cues:
            cues.setdefault(there[cue.start], []).append((cue.kind, cue.rule.id))
    if not first:
        return None
    mentions.pop(-1, None)  # what stands in no chunk
    cues.pop(-1, None)
    of = np.repeat(np.arange(len(sizes)), sizes)
    inner = np.arange(len(first)) - (np.cumsum(sizes) - sizes)[of]
    lengths = np.array(last) - np.array(first)
    opens = np.cumsum(lengths) - lengths
    columns = words.columns(said)
    rows, numbers = _word_features(words, columns, _goes(of, heads, chunks), opens, lengths)
    extra_rows, extra = _rule_features(reads, mentions, cues, heads, of.tolist(), link)
    return Encoded(
        rows=np.concatenate([rows, np.array(extra_rows, np.int64)]),
        numbers=np.concatenate([numbers, np.array(extra, np.uint64)]),
        first=first,
        last=last,
        sentence=of,
        inner=inner.tolist(),
        sentences=len(sizes),
        words=columns,
        opens=opens,
        lengths=lengths,
        chunks=chunks,
        heads=heads,
        mentions=mentions,
        cues=cues,
        named=spoken,
    )


def _goes(of: Places, heads: list[int], chunks: list[int]) -> Places:
    """Rows of the features of each chunk: a line for each of CHUNK ... LAST, -1 where there is no such row.

    `of`: sentence of each chunk; `heads`, `chunks`: of each advert, its first sentence and its number of chunks.
    """
    size = len(of)
    every = np.arange(size)
    goes = np.full((6, size), -1)
    goes[CHUNK] = every
    same = of[:-1] == of[1:]
    goes[AFTER, :-1][same] = every[1:][same]
    goes[BEFORE, 1:][same] = every[:-1][same]
    goes[SENTENCE] = of + size
    opening = np.repeat(np.array(heads), chunks)
    closing = np.repeat(of[np.cumsum(chunks) - 1], chunks)  # of an advert without chunks nothing is taken
    goes[NEXT] = np.where(of < closing, of + size + 1, -1)
    goes[LAST] = np.where(of > opening, of + size - 1, -1)
    return goes


def _word_features(
    words: Words, columns: Places, goes: Places, opens: Places, lengths: Places
) -> tuple[Places, Numbers]:
    """Rows and numbers of all features made of words. `columns`: of the word table, for the tokens of the chunks."""
    chunk = np.repeat(goes[CHUNK], lengths)
    table = words.table.take(columns, axis=1)
    word = table[0]
    one = word * _A
    near = np.flatnonzero(chunk[:-1] == chunk[1:])
    pairs = one[near] + word[near + 1] * _B
    far = near[:-1][near[1:] == near[:-1] + 1]  # the first of three words of a chunk
    skips = one[far] + word[far + 2] * _B
    made = [(pairs + _PAIR_ROLES).ravel(), skips + _SKIP, skips + word[far + 1] * _C + _TRIPLE]
    rows = np.concatenate(
        [
            goes[_WORD_GOES][:, chunk].ravel(), goes[CHUNK], goes[CHUNK], goes[CHUNK],
            goes[_PAIR_GOES][:, chunk[near]].ravel(), chunk[far], chunk[far],
        ]
    )  # fmt: skip
    numbers = np.concatenate(
        [
            table[3:].ravel(), table[1, opens], table[2, opens + lengths - 1], _LENGTH[np.minimum(lengths, _LENGTHS)],
            mix(np.concatenate(made)),
        ]
    )  # fmt: skip
    placed = np.flatnonzero(rows >= 0)
    return rows[placed], numbers[placed]


@cache
def named(role: str, name: str) -> int:
    """The number of a feature of a rule or a cue; there are few, so they are kept."""
    return mixed(number_of("rule " + role), number_of(name))


@cache
def _of_link(kind: str) -> int:
    return named("link", kind)


@cache
def _of_mention(subject: str, rule: str) -> tuple[int, int, int, int]:
    return (named("mention", subject), named("mention.rule", rule), named("mention.sentence", subject),
            named("mention.before", subject))  # fmt: skip


@cache
def _of_cue(kind: str, rule: str) -> tuple[int, int]:
    return named("cue", kind), named("cue.rule", rule)


@cache
def _of_status(subject: str, rule: str, status: str, by: str) -> tuple[int, int]:
    return named("told", f"{subject} {status}"), named("told.rule", f"{rule} {by}")


def _rule_features(
    reads: Sequence[Read],
    mentions: Mapping[int, Sequence[Mention]],
    cues: Mapping[int, Sequence[tuple[str, str]]],
    heads: list[int],
    owner: list[int],
    link: list[str],
) -> tuple[list[int], list[int]]:
    """Rows and numbers of the features that the rules give. `owner`: sentence of each chunk."""
    size = len(link)
    rows = list(range(size))
    numbers = list(map(_of_link, link))
    closing: set[int] = set()  # sentences that no other of their advert follows
    for read, head in zip(reads, heads, strict=True):
        closing.add(head + len(read.sentences) - 1)
        for number, sentence in enumerate(read.sentences, size + head):
            heading = sentence.heading
            if heading is not None:
                rows += (number, number)
                numbers += (named("heading", heading.id), named("heading.status", str(heading.status)))
            if sentence.question:
                rows.append(number)
                numbers.append(named("question", ""))
    for row, some in mentions.items():
        sentence_row = size + owner[row]
        goes_on = owner[row] not in closing
        for mention in some:
            subject, rule = mention.subject, mention.rule.id
            here, by, beside, after = _of_mention(subject, rule)
            rows += (row, row, sentence_row)
            numbers += (here, by, beside)
            if goes_on:
                rows.append(sentence_row + 1)
                numbers.append(after)
            for status, told_by, _, _ in mention.statuses:
                rows += (row, row)
                numbers += _of_status(subject, rule, status, told_by)
    for row, found in cues.items():
        rows += [row] * (2 * len(found))
        for kind, rule in found:
            numbers += _of_cue(kind, rule)
    return rows, numbers
