"""Files as programs save them, for the readers' tests."""

import hashlib
import io
import zipfile
from email.message import EmailMessage

from pipeline.ingest import read_source
from pipeline.types import Ingested, SourceFile

WORDS = "Honest old van, belt done at 90k, some rust on the sills, new test, drives well, £2,450."


def read(name: str, data: bytes) -> Ingested:
    return read_source(SourceFile(name, data, hashlib.sha256(data).hexdigest()))


def texts(name: str, data: bytes) -> list[str]:
    return [advert.text for advert in read(name, data).adverts]


def mail(words: str, subject: str = "A van", day: str = "Sat, 10 Oct 2026 09:00:00 +0100") -> EmailMessage:
    message = EmailMessage()
    message["From"], message["To"], message["Subject"], message["Date"] = "a@x.invalid", "b@x.invalid", subject, day
    message["Message-ID"] = f"<{hashlib.sha256(words.encode()).hexdigest()[:16]}@x.invalid>"
    message.set_content(words)
    return message


def docx(body: str) -> bytes:
    """A word-processor document with the parts that ECMA-376 asks for; `body`: the XML inside w:body."""
    w = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
    kinds = "application/vnd.openxmlformats-officedocument.wordprocessingml.document.main+xml"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument"
    parts = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        f'<Override PartName="/word/document.xml" ContentType="{kinds}"/></Types>',
        "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="r1" Type="{office}" Target="word/document.xml"/></Relationships>',
        "word/document.xml": f'<?xml version="1.0"?><w:document xmlns:w="{w}"><w:body>{body}</w:body></w:document>',
    }
    return packed(parts)


def packed(files: dict[str, str | bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()
