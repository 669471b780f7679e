"""E-mails (.eml, alerts with several adverts) and single-file pages (.mhtml)."""

from __future__ import annotations

import email
import re
from dataclasses import replace
from datetime import date
from email.errors import MessageError
from email.header import decode_header, make_header
from email.message import Message
from email.utils import parsedate_to_datetime

from pipeline.ingest.page import read_page
from pipeline.ingest.text import decode, tidy
from pipeline.types import Advert, Ingested, Refusal, SourceFile

RULER = re.compile(r"^[ \t]*[-=_*]{8,100}[ \t]*$", re.MULTILINE)
MONEY = re.compile(r"[£€$]\s?\d|\d\s?(?:GBP|EUR|USD|pounds|euro|quid)")
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
    day, subject = _day(message), _subject(message)
    if plain:
        return _pieces(source, plain, day, subject)
    if html is None:
        reason = "holds no words. Open the mail, copy the advert's words and save them as a .txt file."
        return Ingested((), (Refusal(source.name, reason, raw_sha256=source.sha256),))
    page = read_page(replace(source, data=_words(html).encode()))
    address = str(message.get("Snapshot-Content-Location") or "").strip()
    adverts = tuple(replace(a, saved_on=a.saved_on or day, title=a.title or subject) for a in page.adverts)
    if address and adverts and adverts[0].url is None:
        adverts = (replace(adverts[0], advert_id=address, url=address), *adverts[1:])
    return replace(page, adverts=adverts)


def _day(message: Message) -> date | None:
    try:
        return parsedate_to_datetime(str(message.get("Date"))).date()
    except (ValueError, TypeError, IndexError, OverflowError):
        return None


def _subject(message: Message) -> str | None:
    try:
        words = str(make_header(decode_header(str(message.get("Subject") or ""))))
    except (MessageError, ValueError, LookupError):
        words = str(message.get("Subject") or "")
    return " ".join(tidy(words).split()) or None


def _words(part: Message) -> str:
    payload = part.get_payload(decode=True)
    data = payload if isinstance(payload, bytes) else b""
    try:
        return tidy(data.decode(part.get_content_charset() or "utf-8"))
    except (LookupError, ValueError):  # unknown or wrong character set
        return decode(data)


def _pieces(source: SourceFile, text: str, day: date | None, subject: str | None) -> Ingested:
    """One advert, or one a piece. A piece without an address that names a price is an advert too; greetings are not."""
    found = [(piece, ADDRESS.search(piece)) for piece in (piece.strip() for piece in RULER.split(text)) if piece]
    if sum(match is not None for _, match in found) < 2:
        return Ingested((Advert(source.name, text, source.name, source.sha256, "mail", subject, day),), ())
    adverts: list[Advert] = []
    for piece, match in found:
        if match or MONEY.search(piece):
            part, address = f"{source.name}#{len(adverts) + 1}", match[1] if match else None
            title = piece.split("\n", 1)[0][:120]
            adverts.append(Advert(address or part, piece, part, source.sha256, "mail", title, day, address))
    return Ingested(tuple(adverts), ())
