"""An advert's address on the web: what makes two saves of one page one advert. Never fetched."""

from __future__ import annotations

import re
from urllib.parse import parse_qsl, urlencode, urlsplit, urlunsplit

_TRACKING = re.compile(r"utm_\w+|\w{1,3}clid|mc_[ce]id")
_BARE = re.compile(r"[\s\x00-\x1f<>\"]")


def clean_address(raw: object) -> str | None:
    """An absolute http(s) address without its fragment and what tracks the reader; None for anything else."""
    text = str(raw or "").strip()
    if not text or len(text) > 2000 or _BARE.search(text):
        return None
    try:
        parts = urlsplit(text)
        query = [pair for pair in parse_qsl(parts.query, keep_blank_values=True) if not _TRACKING.fullmatch(pair[0])]
    except ValueError:
        return None
    if parts.scheme.lower() not in ("http", "https") or not parts.netloc:
        return None
    host = parts.netloc.rsplit("@", 1)[-1].lower()
    return urlunsplit((parts.scheme.lower(), host, parts.path, urlencode(query) if query else "", ""))


def names_an_advert(address: str | None) -> bool:
    """Whether the address can tell one advert from another: a site's front page cannot."""
    if address is None:
        return False
    parts = urlsplit(address)
    return bool(parts.path.strip("/") or parts.query)
