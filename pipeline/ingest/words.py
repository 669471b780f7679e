"""The words of a saved page, without menus, cookie notices, footers and strips of similar adverts."""

from __future__ import annotations

import re

from selectolax.lexbor import LexborHTMLParser, LexborNode

from pipeline.ingest.text import tidy

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


def without_frame(html: str) -> LexborHTMLParser:
    """The page without navigation, notices, forms and strips of other adverts."""
    tree = LexborHTMLParser(html)
    strips = [node for node in tree.css("body [class], body [id]") if _is_strip(node.attributes)]
    for node in reversed(strips):  # inner ones first: a node inside a removed one must not be touched
        if node.css_first("h1") is None:  # a name that says menu around the whole page
            node.decompose()
    whole = len(tree.body.text(deep=True)) if tree.body else 0
    for node in reversed(tree.css(FRAME)):
        if node.tag != "form" or len(node.text(deep=True)) < whole / 2:  # some sites wrap the page in a form
            node.decompose()
    boxes: dict[int, LexborNode] = {}
    for heading in tree.css("h2, h3, h4, legend"):
        box = heading.parent
        if box is not None and HEADINGS.match(heading.text(deep=True).strip()) and _is_box_of(box, heading):
            boxes[box.mem_id] = box
    for box in reversed(boxes.values()):
        box.decompose()
    return tree


def _is_box_of(box: LexborNode, heading: LexborNode) -> bool:
    """The box begins with this heading and is not the page itself: then the heading speaks for all of it."""
    if box.tag in ("body", "html", "main") or box.css_first("h1") is not None:
        return False
    return box.text(deep=True).strip().startswith(heading.text(deep=True).strip())


def prepared(html: str, drop: bool) -> LexborHTMLParser:
    """The page with its blocks set on lines of their own; with `drop` without what is not the advert."""
    tree = without_frame(html) if drop else LexborHTMLParser(html)
    for node in reversed(tree.css(SILENT)):
        node.decompose()
    for row in tree.css("tr"):
        _pair_cells(row)
    for value in tree.css("dd"):
        value.insert_before(": ")
    for node in tree.css(BLOCKS):
        node.insert_before("\n")
        if node.tag != "dt":  # its value follows on the same line
            node.insert_after("\n")
    return tree


def lines_of(node: LexborNode) -> str:
    """The node's text with its lines tidied, empty ones left out."""
    lines = (" ".join(line.split()) for line in tidy(node.text(deep=True)).split("\n"))
    return "\n".join(line for line in lines if line)


def _pair_cells(row: LexborNode) -> None:
    """A specification row of two or four cells reads `name: value`, any other row keeps its cells apart."""
    cells = [cell for cell in row.iter() if cell.tag in ("td", "th")]
    paired = len(cells) in (2, 4) and all(len(cell.text(deep=True).strip()) <= 40 for cell in cells[::2])
    for number, cell in enumerate(cells):
        if number:
            named = cells[number - 1].text(deep=True).strip().rstrip(":")
            cell.insert_before((": " if named else " ") if paired and number % 2 else "\n" if paired else " ")


def _is_strip(attributes: dict[str, str | None]) -> bool:
    return bool(STRIPS.search(f"{attributes.get('class') or ''} {attributes.get('id') or ''}".lower()))
