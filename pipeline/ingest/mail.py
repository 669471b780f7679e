"""E-mails (.eml), mailboxes (.mbox) and single-file pages (.mhtml): the words of each message, and what is attached."""

from __future__ import annotations

import email
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from email.errors import MessageError
from email.header import decode_header, make_header
from email.message import Message
from email.utils import parsedate_to_datetime

from pipeline.ingest.letters import forwarded, reflowed
from pipeline.ingest.limits import MOST_CHARACTERS, MOST_PAGE, MOST_PARTS
from pipeline.ingest.page import page_of
from pipeline.ingest.pieces import pieces_of
from pipeline.ingest.text import checked, decode, refused, tidy
from pipeline.types import Advert, Ingested, SourceFile

FROM_LINE = re.compile(rb"^From [^\n]{0,300}\n(?=>?[A-Za-z][A-Za-z0-9-]{0,60}:)", re.MULTILINE)
MOST_MAILS = 20_000
DEEPEST = 40


@dataclass(frozen=True, slots=True)
class Attached:
    """A file or a mail that came with a mail."""

    name: str
    data: bytes
    sha256: str  # of the file that all of it came in
    saved_on: date | None


@dataclass(slots=True)
class _Parts:
    plain: Message | None = None
    html: Message | None = None
    others: list[Message] | None = None
    count: int = 0


def messages_of(source: SourceFile, mailbox: bool) -> Iterator[tuple[str, Message]]:
    """Each message with a name that stays the same when others are added to or taken from its mailbox."""
    if not mailbox:
        yield source.name, email.message_from_bytes(source.data)
        return
    data = source.data.replace(b"\r\n", b"\n").lstrip(b"\xef\xbb\xbf\n ")
    starts = [match.start() for match in FROM_LINE.finditer(data)] or [0]
    seen: set[str] = set()
    for start, end in zip(starts[:MOST_MAILS], [*starts[1:], len(data)], strict=False):
        raw = data[start:end].partition(b"\n")[2]
        raw = re.sub(rb"^>(>*From )", rb"\1", raw, flags=re.MULTILINE)  # as RFC 4155 and its kin quote them
        message = email.message_from_bytes(raw)
        own = str(message.get("Message-ID") or "").strip().strip("<>") or hashlib.sha256(raw).hexdigest()
        name = f"{source.name}#{hashlib.sha256(own.encode('utf-8', 'replace')).hexdigest()[:12]}"
        if name not in seen:
            seen.add(name)
            yield name, message


def read_message(source: SourceFile, message: Message) -> tuple[Ingested, list[Attached]]:
    """The plain words, else the page inside; a list of adverts is cut into them. And the attached files."""
    parts = _Parts(others=[])
    _collect(message, parts, 0)
    day, subject = _day(message), _subject(message)
    attached = list(_attached(source, parts, day))
    plain = _plain(parts.plain) if parts.plain is not None else ""
    page = _words(parts.html) if parts.html is not None else ""
    address = str(message.get("Snapshot-Content-Location") or "").strip()
    got = None
    if plain and not _is_stub(plain, page):
        got = _letter(source, plain, day, subject)
    if page and (got is None or len(got.adverts) < 2):
        listed = page_of(source, page, address or None)
        if got is None or len(listed.adverts) > 1:
            adverts = (replace(a, saved_on=a.saved_on or day, title=a.title or subject) for a in listed.adverts)
            got = replace(listed, adverts=tuple(adverts))
    if got is None:
        reason = "holds no words. Open the mail, copy the advert's words and save them as a .txt file."
        got = refused(source, reason)
    return checked(source, got.adverts, got.refusals), attached


def _letter(source: SourceFile, plain: str, day: date | None, subject: str | None) -> Ingested:
    """A mail in plain words: its adverts; where it is passed on, the day and subject of the first letter."""
    first = forwarded(plain)
    if first is not None:
        day, subject = first.day or day, first.subject or subject
    pieces = pieces_of(source, plain, day)
    if pieces:
        return Ingested(pieces, ())
    return Ingested((Advert(source.name, plain, source.name, source.sha256, "mail", subject, day),), ())


def _collect(part: Message, parts: _Parts, depth: int) -> None:
    """The first plain and the first HTML body, and the rest as attached; attached mails are not opened here."""
    parts.count += 1
    if parts.count > MOST_PARTS or depth > DEEPEST:
        return
    kind = part.get_content_type()
    if depth and kind == "message/rfc822":
        assert parts.others is not None
        parts.others.append(part)
    elif part.is_multipart():
        for inner in part.get_payload():
            if isinstance(inner, Message):
                _collect(inner, parts, depth + 1)
    elif part.get_content_disposition() != "attachment" and kind == "text/plain" and parts.plain is None:
        parts.plain = part
    elif part.get_content_disposition() != "attachment" and kind == "text/html" and parts.html is None:
        parts.html = part
    elif part.get_content_disposition() == "attachment" and parts.others is not None:
        parts.others.append(part)


def _attached(source: SourceFile, parts: _Parts, day: date | None) -> Iterator[Attached]:
    for number, part in enumerate(parts.others or [], 1):
        if part.get_content_type() == "message/rfc822":
            inner = part.get_payload()
            whole = inner[0] if isinstance(inner, list) and inner else None
            data = whole.as_bytes() if isinstance(whole, Message) else b""
            name = f"{source.name}#{number}.eml"
        else:
            data = _payload(part)
            told = "".join(c if c.isprintable() and c not in "/\\" else "_" for c in str(part.get_filename() or ""))
            name = f"{source.name}#{told[-100:] or number}"
        if data.strip():
            yield Attached(name, data, source.sha256, day)


def _day(message: Message) -> date | None:
    try:
        return parsedate_to_datetime(str(message.get("Date"))).date()
    except (ValueError, TypeError, IndexError, OverflowError):
        return None


def _subject(message: Message) -> str | None:
    raw = message.get("Subject") or ""
    try:
        words = str(make_header(decode_header(raw)))
    except (MessageError, ValueError, LookupError):
        words = str(raw)
    return " ".join(tidy(words).split())[:300] or None


def _payload(part: Message) -> bytes:
    payload = part.get_payload(decode=True)
    return payload if isinstance(payload, bytes) else b""


def _words(part: Message) -> str:
    try:
        declared = part.get_content_charset()
    except (LookupError, ValueError):
        declared = None
    most = MOST_PAGE if part.get_content_type() == "text/html" else 4 * MOST_CHARACTERS + 4
    return decode(_payload(part)[:most], declared)  # what is cut off here is too long for an advert in any case


def _plain(part: Message) -> str:
    text = _words(part)
    flowed = str(part.get_param("format") or "").lower() == "flowed"
    return (reflowed(text, str(part.get_param("delsp") or "").lower() == "yes") if flowed else text).strip()


def _is_stub(plain: str, page: str) -> bool:
    """Plain words that only say to look at the page: the page's own are many more."""
    return len(plain.split()) < 40 and len(page) > 20 * len(plain)
