"""Pasted text and .txt/.md files: one advert a file."""

from __future__ import annotations

import unicodedata

from pipeline.types import Advert, Ingested, Refusal, SourceFile


def decode(data: bytes) -> str:
    """Text of bytes: byte-order mark, UTF-8, else Windows-1252 (undefined bytes replaced, never dropped)."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return tidy(data.decode("utf-16", errors="replace"))
    try:
        return tidy(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        return tidy(data.decode("cp1252", errors="replace"))


def tidy(text: str) -> str:
    """Line ends made alike; control characters become spaces, since they can hide words from a reader."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(c if c in "\n\t" or unicodedata.category(c) != "Cc" else " " for c in text)


def read_text(source: SourceFile) -> Ingested:
    """One advert, its id the file's name."""
    text = decode(source.data).strip()
    if not text:
        reason = "holds no text. Paste the advert's words into it."
        return Ingested((), (Refusal(source.name, reason, raw_sha256=source.sha256),))
    return Ingested((Advert(source.name, text, source.name, source.sha256, "text"),), ())
