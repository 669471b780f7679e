"""Lines for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable


def wrapped(lines: Iterable[str], width: int) -> str:
    """Lines broken at `width` characters (at least 40), what follows a break indented by two more."""
    width, out = max(width, 40), []
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip(" ")) + 2)
        out += textwrap.wrap(line, width, subsequent_indent=indent, break_on_hyphens=False) or [""]
    return "\n".join(out) + "\n"
