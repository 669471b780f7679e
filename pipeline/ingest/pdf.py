"""A printed page (.pdf): the text of all its pages, one advert a file."""

from __future__ import annotations

import re
from datetime import date

import pypdfium2

from pipeline.ingest.address import clean_address, names_an_advert
from pipeline.ingest.limits import MOST_CHARACTERS, MOST_PAGES
from pipeline.ingest.rubble import without_rubble
from pipeline.ingest.text import checked, refused, tidy
from pipeline.types import Advert, Ingested, SourceFile

_MADE = re.compile(r"D:(\d{4})(\d\d)(\d\d)")
_FOOTER = re.compile(r"^(https?://\S{1,500}?)[ \t]+\d{1,3}/\d{1,3}[ \t]*$", re.MULTILINE)  # as browsers print it


def read_pdf(source: SourceFile) -> Ingested:
    """One advert, its id the address that the browser printed, else the file's name; saved when a browser made it.

    A scan without text, or a damaged file, is refused.
    """
    try:
        document = pypdfium2.PdfDocument(source.data)
    except pypdfium2.PdfiumError:
        return refused(source, "is damaged or locked. Save or print the page again.")
    try:
        if len(document) > MOST_PAGES:
            return refused(source, f"has more than {MOST_PAGES} pages. Save only the advert's own pages.")
        pages: list[str] = []
        for number in range(len(document)):
            pages.append(document[number].get_textpage().get_text_range())
            if sum(map(len, pages)) > 2 * MOST_CHARACTERS:
                break
        about = document.get_metadata_dict(skip_empty=True)
    finally:
        document.close()
    text = tidy("\n".join(pages)).strip()
    if not text:
        return refused(source, "holds no text, perhaps a picture. Type its words into a .txt file.")
    printed = {clean_address(match) for match in _FOOTER.findall(text)}
    address = printed.pop() if len(printed) == 1 else None
    known = address if names_an_advert(address) else None
    printed_page = known is not None or str(about.get("Producer", "")).startswith("Skia/PDF")  # a flyer may be old
    day = _day(about.get("CreationDate")) if printed_page else None
    own = without_rubble(text, printed=printed_page)
    advert = Advert(known or source.name, own, source.name, source.sha256, "pdf", None, day, known)
    return checked(source, (advert,))


def _day(made: str | None) -> date | None:
    match = _MADE.match(made or "")
    try:
        return date(*map(int, match.groups())) if match else None
    except ValueError:
        return None
