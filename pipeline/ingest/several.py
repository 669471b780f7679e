"""Several adverts on one page or in one alert mail: boxes of their own, each with its own address and price."""

from __future__ import annotations

import re
from dataclasses import dataclass

from selectolax.lexbor import LexborHTMLParser, LexborNode

from pipeline.ingest.address import clean_address, names_an_advert
from pipeline.ingest.words import lines_of

MONEY = re.compile(r"(?:[£€$]|\b(?:GBP|EUR|USD|CHF))[ \t]?\d|\d[ \t]?(?:[£€]|(?:GBP|EUR|USD|CHF|pounds|euros?|quid)\b)")
MOST_LINKS = 400
MOST_CLIMB = 12
LONGEST_BOX = 6000  # characters
FEWEST_WORDS = 8  # of one advert
MOST_REST = 60  # words outside the boxes, above which the page is about something else


@dataclass(frozen=True, slots=True)
class Box:
    """One advert of a page."""

    node: LexborNode
    text: str
    address: str
    title: str | None


def boxes_of(tree: LexborHTMLParser) -> list[Box]:
    """The adverts of a page that is a list of them, in page order; nothing when it is one advert or something else.

    Each link that leads to an address of its own is widened to the smallest box that also names a price, then as
    far as it holds no other such box.
    """
    body = tree.body
    if body is None:
        return []
    boxes: dict[int, list[LexborNode]] = {}  # box -> its links
    found: dict[int, LexborNode] = {}
    links = [a for a in tree.css("a[href]") if names_an_advert(clean_address(a.attributes.get("href")))][:MOST_LINKS]
    for link in links:
        box = _priced(link)
        if box is not None:
            found[box.mem_id] = box
            boxes.setdefault(box.mem_id, []).append(link)
    outer = {up.mem_id for box in found.values() for up in _up(box)}
    inner = {key: node for key, node in found.items() if key not in outer}
    by_address: dict[str, Box] = {}
    ways_up = {key: [up.mem_id for up in _up(node)] for key, node in inner.items()}
    shared: dict[int, int] = {}
    for way in ways_up.values():
        for key in way:
            shared[key] = shared.get(key, 0) + 1
    for key, node in inner.items():
        whole = node
        for up in _up(node):
            if shared[up.mem_id] > 1 or up.tag in ("body", "html"):
                break
            whole = up
        best = max(boxes[key], key=lambda a: len(a.text(deep=True).strip()))
        address = clean_address(best.attributes.get("href"))
        text = lines_of(whole)
        if address and len(text) <= LONGEST_BOX:
            heading = whole.css_first("h1, h2, h3, h4") or best
            title = " ".join(heading.text(deep=True).split())[:120] or None
            by_address.setdefault(address, Box(whole, text, address, title))
    items = list(by_address.values())
    rest = len(lines_of(body).split()) - sum(len(box.text.split()) for box in items)
    return items if len(items) > 1 and rest <= MOST_REST + 10 * len(items) else []


def _up(node: LexborNode) -> list[LexborNode]:
    ways: list[LexborNode] = []
    parent = node.parent
    while parent is not None and parent.tag not in ("-document", "html") and len(ways) < 60:
        ways.append(parent)
        parent = parent.parent
    return ways


def _priced(link: LexborNode) -> LexborNode | None:
    """The smallest box around a link that names a price and says something."""
    node: LexborNode | None = link
    for _ in range(MOST_CLIMB):
        if node is None or node.tag in ("body", "html", "-document"):
            return None
        text = node.text(deep=True)
        if len(text) > LONGEST_BOX:
            return None
        if MONEY.search(text) and len(text.split()) >= FEWEST_WORDS:
            return node
        node = node.parent
    return None
