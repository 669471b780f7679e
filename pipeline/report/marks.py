"""The advert's text cut into pieces, so that what was read can be marked where it stands.

Spans may nest, overlap and repeat: the text is cut wherever the set of spans over it changes, and each piece names
all of them. Joined together the pieces are the text, character for character.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from pipeline.report.words import claim_note, fact_note
from pipeline.types import Reading


@dataclass(frozen=True, slots=True)
class Span:
    """What was read at text[start:end]; `kind` is `fact` or a claim's status."""

    start: int
    end: int
    kind: str
    note: str


@dataclass(frozen=True, slots=True)
class Piece:
    """Adjoining characters under the same spans; `note` is empty where nothing was read."""

    text: str
    kind: str = ""
    note: str = ""
    several: bool = False


def spans(text: str, reading: Reading, names: Mapping[str, str]) -> tuple[tuple[Span, ...], tuple[str, ...]]:
    """The spans of a reading, claims first, and the notes of what has no place in the text."""
    found: list[Span] = []
    placeless: list[str] = []
    notes = [(c.start, c.end, c.quote, str(c.status), claim_note(c, names)) for c in reading.claims]
    notes += [(f.start, f.end, f.quote, "fact", fact_note(f)) for f in reading.facts]
    for start, end, quote, kind, note in notes:
        place = locate(text, start, end, quote)
        if place:
            found.append(Span(*place, kind, note))
        else:
            placeless.append(note)
    return tuple(found), tuple(placeless)


def locate(text: str, start: int, end: int, quote: str) -> tuple[int, int] | None:
    """Where a quote stands: its own offsets when they fit, else the quote's only occurrence, else None."""
    if 0 <= start < end <= len(text) and (not quote or text[start:end] == quote):
        return start, end
    if start >= 0 and quote and text.count(quote) == 1:
        at = text.index(quote)
        return at, at + len(quote)
    return None


def pieces(text: str, found: Iterable[Span]) -> tuple[Piece, ...]:
    """The text cut at every start and end of a span. Spans must lie inside the text and not be empty."""
    opening: defaultdict[int, list[Span]] = defaultdict(list)
    closing: defaultdict[int, list[Span]] = defaultdict(list)
    for span in found:
        opening[span.start].append(span)
        closing[span.end].append(span)
    cuts = sorted({0, len(text)} | opening.keys() | closing.keys())
    under: list[Span] = []
    cut: list[Piece] = []
    for start, end in pairwise(cuts):
        for span in closing[start]:
            under.remove(span)
        under += opening[start]
        cut.append(_piece(text[start:end], under))
    return tuple(cut)


def _piece(text: str, under: list[Span]) -> Piece:
    if not under:
        return Piece(text)
    kinds = [span.kind for span in under]
    chief = next((kind for kind in kinds if kind != "fact"), "fact")
    notes = list(dict.fromkeys(span.note for span in under))
    return Piece(text, chief, "\n".join(notes), len(notes) > 1)
