"""The report page: one HTML file that opens from disk, asks nothing of the network and runs only its own script."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from pipeline.report import words
from pipeline.report.context import context, file_name, parts
from pipeline.report.passed import passed_name, passed_over, passed_parts
from pipeline.types import ReportView

_BETWEEN_TAGS = re.compile(r">\n+<")
TEMPLATES = Path(__file__).resolve().parent / "templates"
_UNPRINTABLE = re.compile("[\x00\ud800-\udfff]")  # not characters of HTML, and not encodable as UTF-8


class Pages(Mapping[str, str]):
    """File name -> page. Each is made when it is asked for: those of a large search together fill the memory."""

    def __init__(self, view: ReportView, name: str) -> None:
        self._view, self._name = view, name
        self._parts = {file_name(name, part): part for part in parts(len(view.vehicles))}
        self._passed = {passed_name(name, part): part for part in passed_parts(len(view.passed_over))}

    def __getitem__(self, name: str) -> str:
        if name in self._passed:
            return passed_page(self._view, self._passed[name], self._name)
        return page(self._view, self._parts[name], self._name)

    def __contains__(self, name: object) -> bool:
        return name in self._parts or name in self._passed

    def __iter__(self) -> Iterator[str]:
        yield from self._parts
        yield from self._passed

    def __len__(self) -> int:
        return len(self._parts) + len(self._passed)


def pages(view: ReportView, name: str = "ranking") -> Mapping[str, str]:
    """File name -> page: one for up to PER_PAGE vehicles, the best first; the rest on pages of their own, linked."""
    return Pages(view, name)


def page(view: ReportView, part: int = 0, name: str = "ranking") -> str:
    """The page as HTML, to be written as UTF-8.

    NUL and lone surrogates, which HTML and UTF-8 cannot hold, become U+FFFD; nothing else of an advert is altered.
    """
    return render("page.html", "page.css", "page.js", page=context(view, part, name))


def passed_page(view: ReportView, part: int, name: str = "ranking") -> str:
    """Some of the vehicles that a quick look left out, as HTML."""
    return render("passed.html", "page.css", None, page=passed_over(view, part, name))


def render(template: str, style_file: str, script_file: str | None, **values: object) -> str:
    """One of the report's templates with its style and script in it, and what of an advert HTML cannot hold mended."""
    style, script = _own(style_file), _own(script_file) if script_file else None
    html = _environment().get_template(template).render(
        **values, style=Markup(style), script=Markup(script or ""), policy=policy(script, style)
    )  # fmt: skip
    # Line ends between tags come from the templates (`pre` keeps those of an advert) and would each be a node.
    html = _BETWEEN_TAGS.sub("><", html)
    # A carriage return stays one only as a reference (HTML Standard, 13.2.3.5 normalises newlines).
    return _UNPRINTABLE.sub("\ufffd", html).replace("\r", "&#13;")


def policy(script: str | None, style: str) -> str:
    """Content Security Policy (W3C CSP Level 3) that allows this script, this style, and nothing else."""
    scripts = _hash(script) if script else "'none'"
    return f"default-src 'none'; script-src {scripts}; style-src {_hash(style)}; base-uri 'none'; form-action 'none'"


def _hash(source: str) -> str:
    digest = hashlib.sha256(source.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


@cache
def _own(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8").replace("\r\n", "\n")


def _pre(text: str) -> Markup:
    """Text whose line ends stand as references, so that none is taken for one of the templates."""
    return Markup(str(escape(text)).replace("\n", "&#10;"))  # escaped just here


def environment(*folders: Path) -> Environment:
    """Templates of these folders and, for what they do not have, of the report: all escape what they are given."""
    made = Environment(
        loader=FileSystemLoader([*folders, TEMPLATES]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"sentence": words.sentence, "pre": _pre}
    return made


@cache
def _environment() -> Environment:
    return environment()
