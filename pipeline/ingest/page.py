"""A saved page (.html): the advert's words without menus, cookie notices, footers and strips of similar adverts."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborHTMLParser

from pipeline.ingest.metadata import read_metadata
from pipeline.ingest.text import decode, tidy
from pipeline.types import Advert, Ingested, Refusal, SourceFile

SILENT = "script, style, noscript, template, svg, iframe, head"
FRAME = "nav, footer, aside, form, dialog, [role=navigation], [role=contentinfo], [role=banner]"
STRIPS = re.compile(
    r"(?:^|[-_\s])(?:cookies?|consent|nav(?:bar)?|menu|breadcrumbs?|footer|similar|related|recommended|promo)(?:$|[-_\s])"
)
BLOCKS = "p, div, li, br, tr, h1, h2, h3, h4, h5, h6, section, article, dt, dd, ul, table"
FEWEST_WORDS = 12  # below this the drop rules have probably eaten the advert


def read_page(source: SourceFile) -> Ingested:
    """One advert, its id the page's own address where it gives one."""
    html = decode(source.data)
    tree = LexborHTMLParser(html)
    stated = read_metadata(tree, _without_frame(html))
    heading = tree.css_first("h1") or tree.css_first("title")
    title = " ".join(heading.text(deep=True).split()) if heading else None
    link = tree.css_first('link[rel="canonical"]') or tree.css_first('meta[property="og:url"]')
    address = (link.attributes.get("href") or link.attributes.get("content") or "").strip() if link else ""
    text = _words(html, drop=True)
    if len(text.split()) < FEWEST_WORDS:
        text = _words(html, drop=False)
    if not text:
        reason = "holds no text. Open the page, copy the advert's words and save them as a .txt file."
        return Ingested((), (Refusal(source.name, reason, raw_sha256=source.sha256),))
    advert = Advert(
        address or source.name, text, source.name, source.sha256, "page", title or None, None, address or None,
        stated=stated,
    )  # fmt: skip
    return Ingested((advert,), ())


def _without_frame(html: str) -> LexborHTMLParser:
    """The page without navigation, notices, forms and strips of other adverts."""
    tree = LexborHTMLParser(html)
    strips = [node for node in tree.css("body [class], body [id]") if _is_strip(node.attributes)]
    for node in reversed(strips):  # inner ones first: a node inside a removed one must not be touched
        node.decompose()
    for node in reversed(tree.css(FRAME)):
        node.decompose()
    return tree


def _words(html: str, drop: bool) -> str:
    tree = _without_frame(html) if drop else LexborHTMLParser(html)
    for node in tree.css(SILENT):
        node.decompose()
    for node in tree.css(BLOCKS):
        node.insert_before("\n")
        node.insert_after("\n")
    body = tree.body
    lines = (" ".join(line.split()) for line in tidy(body.text(deep=True) if body else "").split("\n"))
    return "\n".join(line for line in lines if line)


def _is_strip(attributes: dict[str, str | None]) -> bool:
    return bool(STRIPS.search(f"{attributes.get('class') or ''} {attributes.get('id') or ''}".lower()))
