"""A saved page (.html): the advert's words without menus, cookie notices, footers and strips of similar adverts."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborHTMLParser, LexborNode

from pipeline.ingest.metadata import read_metadata
from pipeline.ingest.text import decode, tidy
from pipeline.types import Advert, Ingested, Refusal, SourceFile

SILENT = "script, style, noscript, template, svg, iframe, head"
FRAME = "nav, footer, aside, form, dialog, [role=navigation], [role=contentinfo], [role=banner]"
STRIPS = re.compile(
    r"(?:^|[-_\s])(?:cookies?|consent|gdpr|nav(?:bar)?|menu|(?:bread)?crumbs?|foot(?:er)?|similar|related|recommended|"
    r"recent(?:ly)?|viewed|promo|sponsored|advertisement)(?:$|[-_\s])"
)
HEADINGS = re.compile(  # what stands over a strip that is not the advert
    r"(?:.{0,40}\bcookies?\b|similar\b|related\b|recently viewed|you (?:also )?(?:looked|viewed)|you (?:may|might) |"
    r"more (?:from|like|adverts|ads|vehicles|vans|cars)|others? (?:adverts?|ads|vehicles|vans|cars|people)|"
    r"people (?:also|who)|(?:the )?seller'?s other|sponsored|privacy|safety|(?:stay|buy)(?:ing)? safe(?:ly)?|"
    r"finance (?:example|calculator)|sign up)",
    re.IGNORECASE,
)
BLOCKS = "p, div, li, br, tr, h1, h2, h3, h4, h5, h6, section, article, dt, ul, dl, table"
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
    for heading in reversed(tree.css("h2, h3, h4, legend")):
        box = heading.parent
        if box is not None and HEADINGS.match(heading.text(deep=True).strip()) and _is_box_of(box, heading):
            box.decompose()
    return tree


def _is_box_of(box: LexborNode, heading: LexborNode) -> bool:
    """The box begins with this heading and is not the page itself: then the heading speaks for all of it."""
    if box.tag in ("body", "html", "main") or box.css_first("h1") is not None:
        return False
    return box.text(deep=True).strip().startswith(heading.text(deep=True).strip())


def _words(html: str, drop: bool) -> str:
    tree = _without_frame(html) if drop else LexborHTMLParser(html)
    for node in tree.css(SILENT):
        node.decompose()
    for row in tree.css("tr"):
        _pair_cells(row)
    for value in tree.css("dd"):
        value.insert_before(": ")
    for node in tree.css(BLOCKS):
        node.insert_before("\n")
        if node.tag != "dt":  # its value follows on the same line
            node.insert_after("\n")
    body = tree.body
    lines = (" ".join(line.split()) for line in tidy(body.text(deep=True) if body else "").split("\n"))
    return "\n".join(line for line in lines if line)


def _pair_cells(row: LexborNode) -> None:
    """A specification row of two or four cells reads `name: value`, any other row keeps its cells apart."""
    cells = row.css("td, th")
    paired = len(cells) in (2, 4) and all(len(cell.text(deep=True).strip()) <= 40 for cell in cells[::2])
    for number, cell in enumerate(cells):
        if number:
            named = cells[number - 1].text(deep=True).strip().rstrip(":")
            cell.insert_before((": " if named else " ") if paired and number % 2 else "\n" if paired else " ")


def _is_strip(attributes: dict[str, str | None]) -> bool:
    return bool(STRIPS.search(f"{attributes.get('class') or ''} {attributes.get('id') or ''}".lower()))
