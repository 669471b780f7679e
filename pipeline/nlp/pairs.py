"""Features of a chunk and a subject together, from which the trained reader works out the status."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from pipeline.nlp.features import Encoded, named
from pipeline.nlp.mentions import Mention
from pipeline.nlp.reader import Read
from pipeline.nlp.words import Numbers, Places, Words, mix

_WORD = np.uint64(0x9E3779B97F4A7C15)
_NEAR = 2  # words between a cue and the mention it stands beside


def encode_pairs(
    encoded: Encoded, reads: Sequence[Read], words: Words, pairs: Sequence[tuple[int, str]]
) -> tuple[Places, Numbers]:
    """Rows and numbers of the features of (chunk, subject) pairs; row i is of pair i."""
    headings = [sentence.heading for read in reads for sentence in read.sentences]
    sentences = encoded.sentence.tolist()
    mentions, cues = encoded.mentions, encoded.cues
    sizes: list[int] = []
    numbers: list[int] = []
    for chunk, subject in pairs:
        before = len(numbers)
        own = others = False
        for mention in mentions.get(chunk, ()):
            if mention.subject == subject:
                own = True
                _mention(mention, numbers)
            else:
                others = True
                numbers += [named("told beside", told[0]) for told in mention.statuses]
        numbers += _of_pair(subject, own, others)
        if chunk in cues:
            numbers += [_of_cue(subject, kind) for kind, _ in cues[chunk]]
        heading = headings[sentences[chunk]]
        if heading is not None:
            numbers.append(named("heading of subject", f"{subject} {heading.status}"))
        sizes.append(len(numbers) - before)
    crossed_rows, crossed = _words_of_subjects(encoded, words, pairs)
    return (
        np.concatenate([np.repeat(np.arange(len(pairs)), sizes), crossed_rows]),
        np.concatenate([np.array(numbers, np.uint64), crossed]),
    )


def _mention(mention: Mention, numbers: list[int]) -> None:
    """What the rules say of a mention: its kind, status, denial, and the cues it sees."""
    subject, rule = mention.subject, mention.rule
    numbers += _of_rule(rule.kind, rule.default, rule.id)
    for status, by, _, _ in mention.statuses:
        numbers += _of_status(status, subject, by, rule.id)
    if not mention.statuses:
        numbers += [named("untold", ""), named("untold of", subject)]
    if mention.negated:
        numbers.append(named("denied", rule.kind))
    for seen in mention.cues:
        cue, distance = seen.cue, seen.distance
        numbers += _of_seen(cue.kind, cue.rule.id, distance < 0, -_NEAR <= distance <= _NEAR, seen.how)


# Numbers of what is seen again and again; there are as many as the rules can say.
@cache
def _of_pair(subject: str, own: bool, others: bool) -> tuple[int, int]:
    return named("subject", subject), named("named", f"{own} {others}")


@cache
def _of_cue(subject: str, kind: str) -> int:
    return named("cue of subject", f"{subject} {kind}")


@cache
def _of_rule(kind: str, default: str | None, rule: str) -> tuple[int, ...]:
    return named("kind", f"{kind} {default}"), named("rule", rule)


@cache
def _of_status(status: str, subject: str, by: str, rule: str) -> tuple[int, ...]:
    return (
        named("told", status),
        named("told of", f"{status} {subject}"),
        named("told by", f"{status} {by}"),
        named("told by both", f"{status} {by} {rule}"),
    )


@cache
def _of_seen(kind: str, rule: str, before: bool, close: bool, how: str) -> tuple[int, ...]:
    side = "before" if before else "after"
    return (
        named("cue", f"{kind} {side}"),
        named("cue near", f"{kind} {side} {close} {how}"),
        named("cue rule", f"{rule} {side}"),
    )


def _words_of_subjects(encoded: Encoded, words: Words, pairs: Sequence[tuple[int, str]]) -> tuple[Places, Numbers]:
    """Each word of the chunk with the subject."""
    chunks = np.array([chunk for chunk, _ in pairs], np.int64)
    subjects = np.array([named("with", subject) for _, subject in pairs], np.uint64)
    sizes = encoded.lengths[chunks]
    row = np.repeat(np.arange(len(pairs)), sizes)
    place = np.arange(len(row)) - np.repeat(np.cumsum(sizes) - sizes - encoded.opens[chunks], sizes)
    return row, mix(words.table[0].take(encoded.words[place]) * _WORD + subjects[row])
