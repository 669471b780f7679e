"""Word-processor documents (.docx, ECMA-376): the words of the body, paragraph by paragraph, one advert a file."""

from __future__ import annotations

import io
import zipfile
from xml.parsers import expat

from pipeline.ingest.limits import MOST_CHARACTERS, MOST_UNPACKED
from pipeline.ingest.text import checked, refused, tidy
from pipeline.types import Advert, Ingested, SourceFile

_BODY = "word/document.xml"


def read_docx(source: SourceFile) -> Ingested:
    """One advert, its id the file's name, its title the document's own."""
    with zipfile.ZipFile(io.BytesIO(source.data)) as archive, archive.open(_BODY) as handle:
        data = handle.read(MOST_UNPACKED // 4 + 1)
    if len(data) > MOST_UNPACKED // 4:
        return refused(source, "unpacks to too much. Save its words as a .txt file.")
    text = tidy(_words(data)).strip()
    if not text:
        return refused(source, "holds no text, perhaps a picture. Type its words into a .txt file.")
    return checked(source, (Advert(source.name, text, source.name, source.sha256, "docx"),))


class _Entities(ValueError):
    """The document declares entities, which no word processor writes."""


def _words(data: bytes) -> str:
    """Text of w:t; a line a paragraph or break, a tab between cells. Expat, since depth does not matter to it."""
    out: list[str] = []
    state = {"text": 0, "deleted": 0, "size": 0}

    def start(name: str, attributes: dict[str, str]) -> None:
        local = name.rsplit(":", 1)[-1]
        if local == "t":
            state["text"] += 1
        elif local == "del":
            state["deleted"] += 1
        elif local in ("tab", "br", "cr"):
            out.append("\t" if local == "tab" else "\n")

    def end(name: str) -> None:
        local = name.rsplit(":", 1)[-1]
        if local == "t":
            state["text"] -= 1
        elif local == "del":
            state["deleted"] -= 1
        elif local in ("p", "tc"):
            out.append("\n" if local == "p" else "\t")

    def words(piece: str) -> None:
        if state["text"] and not state["deleted"] and state["size"] <= MOST_CHARACTERS:
            state["size"] += len(piece)
            out.append(piece)

    def entity(*_: object) -> None:
        raise _Entities

    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, words
    parser.EntityDeclHandler = entity
    parser.Parse(data, True)
    lines = (" ".join(line.split()) for line in "".join(out).split("\n"))
    return "\n".join(line for line in lines if line)
