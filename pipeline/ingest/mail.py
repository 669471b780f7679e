"""E-mails (.eml, alerts with several adverts) and single-file pages (.mhtml)."""

from __future__ import annotations

import email
import re
from dataclasses import replace
from email.message import Message

from pipeline.ingest.page import read_page
from pipeline.ingest.text import decode, tidy
from pipeline.types import Advert, Ingested, Refusal, SourceFile

RULER = re.compile(r"^[ \t]*[-=_*]{8,100}[ \t]*$", re.MULTILINE)
ADDRESS = re.compile(r"^(https?://\S{1,500})$", re.MULTILINE)
MOST_PARTS = 500


def read_mail(source: SourceFile) -> Ingested:
    """The plain words, else the page inside; cut at rulers where two or more pieces give an address of their own."""
    message = email.message_from_bytes(source.data)
    plain = html = None
    for count, part in enumerate(message.walk()):
        if count > MOST_PARTS:
            break
        kind = part.get_content_type()
        if part.get_content_disposition() == "attachment":
            continue
        if kind == "text/plain" and plain is None:
            plain = _words(part).strip() or None
        elif kind == "text/html" and html is None:
            html = part
    if plain:
        return _pieces(source, plain)
    if html is None:
        reason = "holds no words. Open the mail, copy the advert's words and save them as a .txt file."
        return Ingested((), (Refusal(source.name, reason, raw_sha256=source.sha256),))
    page = read_page(replace(source, data=_words(html).encode()))
    address = str(message.get("Snapshot-Content-Location") or "").strip()
    if address and page.adverts and page.adverts[0].url is None:
        page = replace(page, adverts=(replace(page.adverts[0], advert_id=address, url=address),))
    return page


def _words(part: Message) -> str:
    payload = part.get_payload(decode=True)
    data = payload if isinstance(payload, bytes) else b""
    try:
        return tidy(data.decode(part.get_content_charset() or "utf-8"))
    except (LookupError, ValueError):  # unknown or wrong character set
        return decode(data)


def _pieces(source: SourceFile, text: str) -> Ingested:
    pieces = [piece.strip() for piece in RULER.split(text)]
    found = [(piece, ADDRESS.search(piece)) for piece in pieces]
    if sum(match is not None for _, match in found) < 2:
        return Ingested((Advert(source.name, text, source.name, source.sha256, "mail"),), ())
    adverts = []
    for number, (piece, match) in enumerate(found, 1):
        if match:
            part = f"{source.name}#{number}"
            adverts.append(Advert(match[1], piece, part, source.sha256, "mail", url=match[1]))
    return Ingested(tuple(adverts), ())
