"""Printed pages: text read, damage refused."""

import hashlib

from pipeline.ingest import read_source
from pipeline.types import Ingested, SourceFile


def pdf(stream: bytes) -> bytes:
    return (
        b"%%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
        b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 300 300]/Contents 4 0 R"
        b"/Resources<</Font<</F 5 0 R>>>>>>endobj\n"
        b"4 0 obj<</Length %d>>stream\n%s\nendstream endobj\n"
        b"5 0 obj<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>endobj\ntrailer<</Root 1 0 R>>\n%%%%EOF"
        % (len(stream), stream)
    )


def read(data: bytes) -> Ingested:
    return read_source(SourceFile("a.pdf", data, hashlib.sha256(data).hexdigest()))


def test_text_is_read() -> None:
    assert read(pdf(b"BT /F 12 Tf 20 200 Td (Old van, belt done) Tj ET")).adverts[0].text == "Old van, belt done"


def test_no_text_and_damage_are_refused() -> None:
    assert "holds no text" in read(pdf(b"")).refusals[0].reason
    assert "damaged" in read(b"%PDF-1.4 cut off").refusals[0].reason
