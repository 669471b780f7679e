"""A printed page (.pdf): the text of all its pages, one advert a file."""

from __future__ import annotations

import pypdfium2

from pipeline.ingest.text import tidy
from pipeline.types import Advert, Ingested, Refusal, SourceFile

MOST_PAGES = 50


def read_pdf(source: SourceFile) -> Ingested:
    """One advert, its id the file's name; a scan without text, or a damaged file, is refused."""
    try:
        document = pypdfium2.PdfDocument(source.data)
    except pypdfium2.PdfiumError:
        return _refused(source, "is damaged or locked. Save or print the page again.")
    try:
        if len(document) > MOST_PAGES:
            return _refused(source, f"has more than {MOST_PAGES} pages. Save only the advert's own pages.")
        pages = [document[n].get_textpage().get_text_range() for n in range(len(document))]
    finally:
        document.close()
    text = tidy("\n".join(pages)).strip()
    if not text:
        return _refused(source, "holds no text, perhaps a picture. Type its words into a .txt file.")
    return Ingested((Advert(source.name, text, source.name, source.sha256, "pdf"),), ())


def _refused(source: SourceFile, reason: str) -> Ingested:
    return Ingested((), (Refusal(source.name, reason, raw_sha256=source.sha256),))
