"""What kind of file it is: by its content, then by its ending."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

from pipeline.types import SourceFile

ENDINGS = {
    ".csv": "csv", ".tsv": "csv", ".jsonl": "jsonl", ".ndjson": "jsonl", ".json": "json", ".xlsx": "xlsx",
    ".html": "html", ".htm": "html", ".xhtml": "html", ".eml": "mail", ".mhtml": "mail", ".mht": "mail",
    ".mbox": "mbox", ".pdf": "pdf", ".docx": "docx",
}  # fmt: skip
MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", "pdf"),
    (b"\x1f\x8b", "gzip"),
    (b"\xff\xd8\xff", "a picture"),
    (b"\x89PNG\r\n", "a picture"),
    (b"GIF8", "a picture"),
    (b"\xd0\xcf\x11\xe0", "an old office file"),
    (b"7z\xbc\xaf\x27\x1c", "an archive of another kind"),
    (b"Rar!", "an archive of another kind"),
    (b"BZh", "an archive of another kind"),
    (b"\xfd7zXZ", "an archive of another kind"),
    (b"bplist00", "a browser's own archive"),
    (b"{\\rtf", "rich text"),
    (b"ID3", "a sound or film"),
    (b"OggS", "a sound or film"),
)
HEADER = re.compile(
    rb"(?:From|To|Received|Return-Path|MIME-Version|Delivered-To|Message-ID|Subject|Date|X-[A-Za-z-]{1,60}|Content-Type|"
    rb"Reply-To|Sender|List-[A-Za-z]{1,30}|DKIM-Signature|ARC-[A-Za-z-]{1,40}|Authentication-Results):",
    re.IGNORECASE,
)
MAIL_SIGN = re.compile(rb"^(?:MIME-Version|Message-ID|Received|Subject|Content-Type):", re.IGNORECASE | re.MULTILINE)
PAGE = re.compile(rb"<(?:!doctype html|html|head|body|meta |title|article|main|div|table)[\s>]?", re.IGNORECASE)


def detect(source: SourceFile) -> str:
    """One of text, csv, json, jsonl, xlsx, docx, html, mail, mbox, pdf, zip, gzip; or words for what is not read."""
    head = source.data[:4096]
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    ending = ENDINGS.get(PurePosixPath(source.name).suffix.lower(), "text")
    for sign, kind in MAGIC:
        if start.startswith(sign):
            return kind
    if head[4:8] == b"ftyp" or (head[:4] == b"RIFF" and head[8:12] in (b"WEBP", b"AVI ", b"WAVE")):
        return "a picture" if head[8:12] in (b"WEBP", b"avif", b"heic", b"mif1") else "a sound or film"
    if head[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        return _zipped(source)
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        start = head.decode("utf-16", errors="ignore").lstrip("\ufeff \r\n\t").encode()
    elif b"\x00" in head and not _two_byte(head):
        return "mail" if ending == "mail" and HEADER.match(start) else "binary data"
    return _words(start, head, ending)


def _words(start: bytes, head: bytes, ending: str) -> str:
    if start.startswith(b"From ") and re.match(rb"From [^\n]{1,300}\n>?[A-Za-z-]{2,40}: ?", start.replace(b"\r", b"")):
        return "mbox"
    opening = re.sub(rb"\A(?:\s*<\?xml[^>]{0,200}>|\s*<!--(?:(?!-->).){0,1000}-->)+\s*", b"", start, flags=re.DOTALL)
    if opening[:14].lower() == b"<!doctype html" or opening[:5].lower() == b"<html":
        return "html"
    if HEADER.match(start) and (ending in ("mail", "mbox") or len(MAIL_SIGN.findall(head)) > 1):
        return "mail"
    if ending == "text" and PAGE.match(opening):
        return "html"
    if ending in ("text", "csv", "html") and start[:1] == b"{" and re.match(rb'\{\s*"[^"\n]{1,60}"\s*:', start):
        return "jsonl"
    if ending in ("json", "jsonl") and start[:1] == b"[":
        return "json"
    if ending in ("xlsx", "docx", "pdf"):
        return "text"  # it says so by its name only: its words are worth keeping
    return "jsonl" if ending == "json" and b"}\n{" in head.replace(b"\r", b"") else ending


def _two_byte(head: bytes) -> bool:
    """Text in UTF-16 without a byte-order mark: every second byte is nought."""
    half = max(len(head) // 2, 1)
    even, odd = head[0::2].count(0), head[1::2].count(0)
    return max(even, odd) > 0.7 * half and min(even, odd) < 0.1 * half and len(head) >= 8


def _zipped(source: SourceFile) -> str:
    if b"word/document.xml" in source.data:
        return "docx"
    return "xlsx" if b"xl/workbook" in source.data or b"xl/worksheets" in source.data else "zip"
