"""Several adverts in one plain text: cut at rulers, or where each ends with an address of its own."""

from __future__ import annotations

import re
from datetime import date

from pipeline.ingest.address import clean_address, names_an_advert
from pipeline.ingest.several import MONEY
from pipeline.types import Advert, SourceFile

RULER = re.compile(r"^[ \t]*[-=_*~\u2500\u2014\u2013]{5,100}[ \t]*$", re.MULTILINE)
ADDRESS = re.compile(r"^[ \t]*(?:[^\n:]{0,40}:[ \t]*)?<?(https?://[^\s<>]{1,500})>?[ \t]*$", re.MULTILINE)
GREETING = re.compile(
    r"unsubscribe|you (?:get|got|receive|are receiving) this|saved search|stop (?:it|these)|manage your", re.IGNORECASE
)
FEWEST_WORDS = 5


def pieces_of(source: SourceFile, text: str, day: date | None) -> tuple[Advert, ...]:
    """One advert a piece; nothing when the text is one advert.

    A piece without an address that names a price is an advert too; greetings and how to unsubscribe are not.
    """
    found: list[tuple[str, str | None]]
    found = [(piece, _address(piece)) for piece in (piece.strip() for piece in RULER.split(text)) if piece]
    if sum(address is not None for _, address in found) < 2:
        found = _by_address(text)
    if sum(address is not None for _, address in found) < 2:
        return ()
    adverts: list[Advert] = []
    for piece, address in found:
        says = MONEY.search(piece) is not None
        if not (says if address is None else says or not GREETING.search(piece)):
            continue
        part = f"{source.name}#{len(adverts) + 1}"
        title = piece.split("\n", 1)[0].strip()[:120]
        adverts.append(Advert(address or part, piece, part, source.sha256, "mail", title, day, address))
    return tuple(adverts)


def _address(piece: str) -> str | None:
    told = (clean_address(match) for match in ADDRESS.findall(piece))
    return next((address for address in told if names_an_advert(address)), None)


def _by_address(text: str) -> list[tuple[str, str | None]]:
    """Pieces that each end with a line that is an address, where each names a price of its own."""
    pieces: list[tuple[str, str | None]] = []
    start = 0
    for match in ADDRESS.finditer(text):
        piece = text[start : match.end()].strip()
        start = match.end()
        pieces.append((piece, _address(piece)))
    priced: list[tuple[str, str | None]] = [
        (p, a) for p, a in pieces if a and MONEY.search(p) and len(p.split()) >= FEWEST_WORDS
    ]
    distinct = len({address for _, address in priced}) == len(priced)
    return priced if distinct and len(priced) >= max(2, len(pieces) - 1) else []
