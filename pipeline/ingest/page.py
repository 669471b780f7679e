"""A saved page (.html): one advert, or each of a list of them, with what the page states about it beside the text."""

from __future__ import annotations

import re
from datetime import date
from email.utils import parsedate_to_datetime

from selectolax.lexbor import LexborHTMLParser

from pipeline.ingest.address import clean_address, names_an_advert
from pipeline.ingest.limits import FEWEST_WORDS, MOST_PAGE
from pipeline.ingest.metadata import read_metadata
from pipeline.ingest.rubble import without_rubble
from pipeline.ingest.several import boxes_of
from pipeline.ingest.text import checked, decode, refused
from pipeline.ingest.words import lines_of, prepared, without_frame
from pipeline.types import Advert, Ingested, SourceFile

CHARSET = re.compile(rb"<meta[^>]{1,300}?charset\s*=\s*[\"']?\s*([A-Za-z0-9._:-]{2,40})", re.IGNORECASE)
DECLARED = re.compile(rb"<\?xml[^>]{1,200}?encoding\s*=\s*[\"']([A-Za-z0-9._:-]{2,40})", re.IGNORECASE)
SAVED_FROM = re.compile(r"<!--\s{0,5}saved from url=(?:\(\d{1,6}\))?(\S{1,1000}?)\s{0,5}-->", re.IGNORECASE)
SAVED_ON = re.compile(
    r"<!--(?:(?!-->).){0,500}?\bsaved (?:date|on|at):?\s{0,5}([^\n<>()]{8,60})", re.IGNORECASE | re.DOTALL
)
ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def read_page(source: SourceFile) -> Ingested:
    """One advert, its id the page's own address where it gives one; a list of adverts gives each."""
    if len(source.data) > MOST_PAGE:
        return refused(source, f"is a page of more than {MOST_PAGE // 1_000_000} MB. Save its text as a .txt file.")
    declared = DECLARED.match(source.data[:300]) or CHARSET.search(source.data[:4096])
    return page_of(source, decode(source.data, declared[1].decode("ascii") if declared else None))


def page_of(source: SourceFile, html: str, address: str | None = None) -> Ingested:
    """The adverts of a page's markup. `address`: where it was saved from, when that is known from elsewhere."""
    tree = LexborHTMLParser(html)
    whole = prepared(html, drop=True)
    day = _saved_on(html[:4000])
    boxes = boxes_of(whole)
    if boxes:
        listed = tuple(
            Advert(box.address, box.text, f"{source.name}#{n}", source.sha256, "page", box.title, day, box.address,
                   stated=read_metadata(LexborHTMLParser(box.node.html or ""), None, box.address))
            for n, box in enumerate(boxes, 1)
        )  # fmt: skip
        return checked(source, listed)
    address = _address(tree, html[:4000]) or clean_address(address)
    stated = read_metadata(tree, without_frame(html), address)
    heading = tree.css_first("h1") or tree.css_first("title")
    title = " ".join(heading.text(deep=True).split())[:300] if heading else None
    text = lines_of(whole.body) if whole.body else ""
    if len(text.split()) < FEWEST_WORDS:
        full = prepared(html, drop=False).body
        text = lines_of(full) if full else ""
    text = without_rubble(text)
    if not text:
        return refused(source, "holds no text. Open the page, copy the advert's words and save them as a .txt file.")
    known = address if names_an_advert(address) else None
    advert = Advert(
        known or source.name, text, source.name, source.sha256, "page", title or None, day, known, stated=stated
    )
    return checked(source, (advert,))


def _address(tree: LexborHTMLParser, head: str) -> str | None:
    """The page's own address: canonical link, og:url, or what the browser wrote when it saved the page."""
    told = [
        (node.attributes.get("href") or node.attributes.get("content"))
        for node in (tree.css_first('link[rel="canonical"]'), tree.css_first('meta[property="og:url"]'))
        if node
    ]
    saved = SAVED_FROM.search(head)
    found = [one for one in map(clean_address, [*told, saved[1] if saved else None]) if one]
    return next((one for one in found if names_an_advert(one)), None)


def _saved_on(head: str) -> date | None:
    """The day that a saving program wrote into a comment of the page."""
    match = SAVED_ON.search(head)
    if not match:
        return None
    day = ISO_DAY.search(match[1])
    try:
        if day:
            return date.fromisoformat(day[0])
        words = re.match(r"([A-Z][a-z]{2}) ([A-Z][a-z]{2}) (\d{1,2}) (\d{4}) (\d\d:\d\d:\d\d)", match[1])
        told = f"{words[1]}, {words[3]} {words[2]} {words[4]} {words[5]}" if words else match[1]
        return parsedate_to_datetime(told).date()
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
