"""The report page: one HTML file that opens from disk, asks nothing of the network and runs only its own script."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from pipeline.report.context import context
from pipeline.types import ReportView

TEMPLATES = Path(__file__).resolve().parent / "templates"
_UNPRINTABLE = re.compile("[\x00\ud800-\udfff]")  # not characters of HTML, and not encodable as UTF-8


def page(view: ReportView) -> str:
    """The page as HTML, to be written as UTF-8.

    NUL and lone surrogates, which HTML and UTF-8 cannot hold, become U+FFFD; nothing else of an advert is altered.
    """
    script, style = _own("page.js"), _own("page.css")
    html = _environment().get_template("page.html").render(
        page=context(view),
        script=Markup(script),
        style=Markup(style),
        policy=policy(script, style),
    )  # fmt: skip
    # A carriage return stays one only as a reference (HTML Standard, 13.2.3.5 normalises newlines).
    return _UNPRINTABLE.sub("\ufffd", html).replace("\r", "&#13;")


def policy(script: str, style: str) -> str:
    """Content Security Policy (W3C CSP Level 3) that allows this script, this style, and nothing else."""
    return (
        f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; base-uri 'none'; form-action 'none'"
    )


def _hash(source: str) -> str:
    digest = hashlib.sha256(source.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


@cache
def _own(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8").replace("\r\n", "\n")


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
