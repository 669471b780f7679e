"""Features of a chunk and a subject together, from which the trained reader works out the status."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from pipeline.nlp.features import Encoded, Numbers, Places, Words, mix, named
from pipeline.nlp.mentions import Cue, Mention
from pipeline.nlp.segments import Sentence

_WORD = np.uint64(0x9E3779B97F4A7C15)
_NEAR = 2  # words between a cue and the mention it stands beside


def encode_pairs(
    encoded: Encoded,
    sentences: Sequence[Sentence],
    mentions: Sequence[Mention],
    cues: Sequence[Cue],
    words: Words,
    pairs: Sequence[tuple[int, str]],
) -> tuple[Places, Numbers]:
    """Rows and numbers of the features of (chunk, subject) pairs; row i is of pair i."""
    at = encoded.at
    wanted = {chunk for chunk, _ in pairs}
    named_in: dict[int, list[Mention]] = defaultdict(list)
    for mention in mentions:
        if at[mention.start] in wanted:
            named_in[at[mention.start]].append(mention)
    cues_in: dict[int, list[str]] = defaultdict(list)
    for cue in cues:
        if at[cue.start] in wanted:
            cues_in[at[cue.start]].append(cue.kind)
    rows: list[int] = []
    numbers: list[int] = []
    for row, (chunk, subject) in enumerate(pairs):
        before = len(numbers)
        numbers.append(named("subject", subject))
        own = [mention for mention in named_in[chunk] if mention.subject == subject]
        others = [mention for mention in named_in[chunk] if mention.subject != subject]
        numbers.append(named("named", f"{bool(own)} {bool(others)}"))
        for mention in own:
            _mention(mention, numbers)
        numbers.extend(named("told beside", told[0]) for mention in others for told in mention.statuses)
        numbers.extend(named("cue of subject", f"{subject} {kind}") for kind in cues_in[chunk])
        heading = sentences[encoded.sentence[chunk]].heading
        if heading is not None:
            numbers.append(named("heading of subject", f"{subject} {heading.status}"))
        rows.extend([row] * (len(numbers) - before))
    crossed_rows, crossed = _words_of_subjects(encoded, words, pairs)
    return (
        np.concatenate([np.array(rows, np.int64), crossed_rows]),
        np.concatenate([np.array(numbers, np.uint64), crossed]),
    )


def _mention(mention: Mention, numbers: list[int]) -> None:
    """What the rules say of a mention: its kind, status, denial, and the cues it sees."""
    subject, rule = mention.subject, mention.rule
    numbers += [named("kind", f"{rule.kind} {rule.default}"), named("rule", rule.id)]
    for status, by, _, _ in mention.statuses:
        numbers += [
            named("told", status),
            named("told of", f"{status} {subject}"),
            named("told by", f"{status} {by}"),
            named("told by both", f"{status} {by} {rule.id}"),
        ]
    if not mention.statuses:
        numbers += [named("untold", ""), named("untold of", subject)]
    if mention.negated:
        numbers.append(named("denied", rule.kind))
    for seen in mention.cues:
        side = "before" if seen.distance < 0 else "after"
        how = f"{seen.cue.kind} {side}"
        close = abs(seen.distance) <= _NEAR
        numbers += [
            named("cue", how),
            named("cue near", f"{how} {close} {seen.how}"),
            named("cue rule", f"{seen.cue.rule.id} {side}"),
        ]


def _words_of_subjects(encoded: Encoded, words: Words, pairs: Sequence[tuple[int, str]]) -> tuple[Places, Numbers]:
    """Each word of the chunk with the subject."""
    chunks = np.array([chunk for chunk, _ in pairs], np.int64)
    subjects = np.array([named("with", subject) for _, subject in pairs], np.uint64)
    lengths = np.append(encoded.opens[1:], len(encoded.words)) - encoded.opens
    sizes = lengths[chunks]
    row = np.repeat(np.arange(len(pairs)), sizes)
    place = np.arange(len(row)) - np.repeat(np.cumsum(sizes) - sizes - encoded.opens[chunks], sizes)
    return row, mix(words.table[encoded.words[place], 0] * _WORD + subjects[row])
