"""What kind of file it is: by its content, then by its ending."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

from pipeline.types import SourceFile

ENDINGS = {
    ".csv": "csv", ".jsonl": "jsonl", ".ndjson": "jsonl", ".xlsx": "xlsx", ".html": "html", ".htm": "html",
    ".eml": "mail", ".mhtml": "mail", ".mht": "mail", ".pdf": "pdf",
}  # fmt: skip
MAIL = re.compile(rb"(?:From|Received|Return-Path|MIME-Version|Delivered-To|Message-ID):[ \t]", re.IGNORECASE)


def detect(source: SourceFile) -> str:
    """One of text, csv, jsonl, xlsx, html, mail, pdf, "binary data"."""
    head = source.data[:4096]
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    ending = ENDINGS.get(PurePosixPath(source.name).suffix.lower(), "text")
    if start.startswith(b"%PDF-"):
        return "pdf"
    if head.startswith(b"PK\x03\x04"):
        return "xlsx" if b"xl/" in source.data or ending == "xlsx" else "binary data"
    if start[:14].lower() == b"<!doctype html" or start[:5].lower() == b"<html":
        return "html"
    if MAIL.match(start) and (ending == "mail" or b"\nMIME-Version:" in head or b"\nSubject:" in head):
        return "mail"
    if b"\x00" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "binary data"
    return ending
