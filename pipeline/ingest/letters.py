"""Plain mail: lines joined that were wrapped for sending (format=flowed, RFC 3676), and mails passed on."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from email.utils import parsedate_to_datetime

BANNER = re.compile(
    r"^[ \t>]*(?:-{2,20}[ \t]*(?:forwarded message|original message|weitergeleitete nachricht|message transféré)"
    r"[ \t]*-{2,20}|begin forwarded message:?)[ \t]*$",
    re.IGNORECASE | re.MULTILINE,
)
FIELD = re.compile(
    r"^[ \t>*]{0,10}(from|date|sent|subject|to|cc|reply-to)\*?:[ \t]*\*?[ \t]*(.{0,300})$", re.IGNORECASE
)
DAY_WORDS = re.compile(r"\b(\d{1,2})\.? ([A-Za-z]{3,9})\.?,? (\d{4})\b|\b([A-Za-z]{3,9}) (\d{1,2}),? (\d{4})\b")


@dataclass(frozen=True, slots=True)
class Forwarded:
    """What a passed-on mail says of the first one."""

    day: date | None
    subject: str | None


def reflowed(text: str, delete_space: bool = False) -> str:
    """Soft line ends joined; quote marks taken off; a signature's mark `-- ` kept as a line of its own."""
    out: list[str] = []
    open_depth: int | None = None
    for raw in text.split("\n"):
        bare = raw.lstrip(">")
        depth = len(raw) - len(bare)
        line = bare.removeprefix(" ")
        soft = line.endswith(" ") and line != "-- "
        piece = line[:-1] if soft and delete_space else line
        if open_depth == depth and out and line != "-- ":
            out[-1] += piece
        else:
            out.append(piece)
        open_depth = depth if soft else None
    return "\n".join(line.rstrip() for line in out)


def forwarded(text: str) -> Forwarded | None:
    """Day and subject of the mail that was passed on; None when none was."""
    banner = BANNER.search(text)
    if banner is None:
        return None
    day = subject = None
    for line in text[banner.end() :].split("\n")[:14]:
        field = FIELD.match(line)
        if field and field[1].lower() in ("date", "sent"):
            day = day or _day(field[2])
        elif field and field[1].lower() == "subject":
            subject = subject or " ".join(field[2].rstrip("* ").split()) or None
    return Forwarded(day, subject)


def _day(words: str) -> date | None:
    try:
        return parsedate_to_datetime(words.strip()).date()
    except (ValueError, TypeError, IndexError, OverflowError):
        pass
    match = DAY_WORDS.search(words)
    if not match:
        return None
    day, month, year = (match[1], match[2], match[3]) if match[1] else (match[5], match[4], match[6])
    for form in ("%d %b %Y", "%d %B %Y"):
        try:
            return datetime.strptime(f"{day} {month} {year}", form).date()
        except ValueError:
            continue
    return None
