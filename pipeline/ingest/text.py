"""Pasted text and .txt/.md files: one advert a file. And what every reader needs: bytes to text, text made tidy."""

from __future__ import annotations

import codecs
import re

from pipeline.ingest.limits import MOST_CHARACTERS
from pipeline.ingest.rubble import without_rubble
from pipeline.types import Advert, Ingested, Refusal, SourceFile

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")
_TOO_LONG = (
    f"holds more than {MOST_CHARACTERS:,} characters, too many for an advert. "
    "Save the advert's own words as a .txt file."
)


def decode(data: bytes, declared: str | None = None) -> str:
    """Text of bytes: byte-order mark, UTF-8, the declared character set, UTF-16 without a mark, else Windows-1252.

    Undefined bytes are replaced, never dropped. UTF-8 is tried before what is declared: text that decodes as UTF-8
    by chance is next to never anything else, and declarations are often wrong.
    """
    marks = (
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    )
    for mark, name in marks:
        if data.startswith(mark):
            return tidy(data.decode(name, errors="replace"))
    seven_bit = (declared or "").lower().replace("_", "-").startswith(("iso-2022", "hz", "utf-7"))
    if not seven_bit:
        bare = _utf16_without_mark(data)
        if bare:
            return tidy(data.decode(bare, errors="replace"))
        try:
            return tidy(data.decode("utf-8-sig"))
        except UnicodeDecodeError:
            pass
    for known in (_known(declared), "cp1252"):
        if known:
            try:
                return tidy(data.decode(known))
            except (UnicodeError, ValueError):
                continue
    damage = data.decode("utf-8", errors="replace")
    if damage.count("\ufffd") * 100 < len(damage) and any(c > "\x7f" and c != "\ufffd" for c in damage[:100_000]):
        return tidy(damage)  # UTF-8 with a few bytes cut off or damaged
    return tidy(data.decode("cp1252", errors="replace"))


def _known(name: str | None) -> str | None:
    """The codec of a declared character set; None when it is unknown or no character set."""
    if not name or len(name) > 40:
        return None
    try:
        info = codecs.lookup(name.strip().strip("\"'"))
    except (LookupError, ValueError):
        return None
    if not getattr(info, "_is_text_encoding", True) or info.name in ("unicode_escape", "raw_unicode_escape", "idna"):
        return None
    return "cp1252" if info.name in ("iso8859-1", "ascii") else info.name  # as browsers do (WHATWG Encoding)


def _utf16_without_mark(data: bytes) -> str | None:
    head = data[:2000]
    if len(head) < 8 or b"\x00" not in head:
        return None
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    return "utf-16-be" if even > 0.7 * half and odd < 0.1 * half else None


def tidy(text: str) -> str:
    """Line ends made alike; control characters become spaces, since they can hide words from a reader, and so do
    halves of a character, which no file can hold."""
    return _CONTROL.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n"))


def read_text(source: SourceFile) -> Ingested:
    """One advert, its id the file's name."""
    if len(source.data) > 4 * MOST_CHARACTERS:
        return refused(source, _TOO_LONG)
    text = decode(source.data).strip()
    if not text:
        return refused(source, "holds no text. Paste the advert's words into it.")
    own = without_rubble(text)
    return checked(source, (Advert(source.name, own, source.name, source.sha256, "text"),))


def refused(source: SourceFile, reason: str, line: int | None = None) -> Ingested:
    """Nothing but the refusal of the whole file, or of a line."""
    return Ingested((), (Refusal(source.name, reason, line, source.sha256),))


def checked(source: SourceFile, adverts: tuple[Advert, ...], refusals: tuple[Refusal, ...] = ()) -> Ingested:
    """The adverts, those too long for one refused instead."""
    good = tuple(advert for advert in adverts if len(advert.text) <= MOST_CHARACTERS)
    long = tuple(
        Refusal(advert.source, _TOO_LONG, None, source.sha256)
        for advert in adverts
        if len(advert.text) > MOST_CHARACTERS
    )
    return Ingested(good, (*refusals, *long))
