"""Which reader reads what; for use inside the reading process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from pipeline.ingest.archive import members, unzipped
from pipeline.ingest.detect import detect
from pipeline.ingest.docx import read_docx
from pipeline.ingest.limits import MOST_ADVERTS, MOST_NESTED
from pipeline.ingest.mail import Attached, messages_of, read_message
from pipeline.ingest.page import read_page
from pipeline.ingest.pdf import read_pdf
from pipeline.ingest.sheet import read_xlsx
from pipeline.ingest.tables import read_csv, read_json, read_jsonl
from pipeline.ingest.text import read_text, refused
from pipeline.types import Advert, Ingested, Refusal, SourceFile

READERS: dict[str, Callable[[SourceFile], Ingested]] = {
    "text": read_text,
    "csv": read_csv,
    "json": read_json,
    "jsonl": read_jsonl,
    "xlsx": read_xlsx,
    "docx": read_docx,
    "html": read_page,
    "pdf": read_pdf,
}
NOT_ADVERTS = ("a picture", "a sound or film")  # beside adverts in archives and mails; not worth a word there


def read_here(source: SourceFile, depth: int = 0) -> Ingested:
    """The adverts in one file, and in the files inside it; never raises for what the file holds."""
    kind = detect(source)
    try:
        if kind in ("zip", "gzip"):
            return _archive(source, kind, depth)
        if kind in ("mail", "mbox"):
            return _mails(source, kind, depth)
        reader = READERS.get(kind)
        if reader is None:
            return refused(
                source, f"is {kind}, which this program does not read. Save the advert's text as a .txt file."
            )
        got = reader(source)
    except MemoryError:
        raise
    except Exception as error:  # hostile files make libraries raise anything; the run must go on
        told = f"could not be read as {kind} ({type(error).__name__}). Save the advert's text as a .txt file."
        return refused(source, told)
    if len(got.adverts) > MOST_ADVERTS:
        return refused(source, f"holds more than {MOST_ADVERTS:,} adverts. Cut it into smaller files.")
    return got


def _archive(source: SourceFile, kind: str, depth: int) -> Ingested:
    if depth >= MOST_NESTED:
        return refused(source, "is an archive inside archives. Unpack it and add what it holds.")
    found = members(source) if kind == "zip" else unzipped(source)
    return _joined(source, (one if isinstance(one, Refusal) else _inner(one, depth + 1) for one in found))


def _mails(source: SourceFile, kind: str, depth: int) -> Ingested:
    if depth > MOST_NESTED:
        return refused(source, "is a mail inside mails. Save it as a file of its own.")
    parts: list[Ingested | Refusal | None] = []
    for name, message in messages_of(source, kind == "mbox"):
        own, attached = read_message(replace(source, name=name), message)
        inner = [_attachment(one, depth) for one in attached]
        has_adverts = any(isinstance(one, Ingested) and one.adverts for one in inner)
        parts += [] if has_adverts and not own.adverts else [own]
        parts += inner
    return _joined(source, parts)


def _attachment(one: Attached, depth: int) -> Ingested | None:
    source = SourceFile(one.name, one.data, one.sha256)
    if one.saved_on is None:
        return _inner(source, depth + 1)
    got = _inner(source, depth + 1)
    if got is None:
        return None
    return replace(got, adverts=tuple(replace(a, saved_on=a.saved_on or one.saved_on) for a in got.adverts))


def _inner(source: SourceFile, depth: int) -> Ingested | None:
    return None if detect(source) in NOT_ADVERTS else read_here(source, depth)


def _joined(source: SourceFile, parts: object) -> Ingested:
    adverts: list[Advert] = []
    refusals: list[Refusal] = []
    for part in parts:  # type: ignore[attr-defined]
        if isinstance(part, Refusal):
            refusals.append(part)
        elif part is not None:
            adverts += part.adverts
            refusals += part.refusals
    if not adverts and not refusals:
        return refused(source, "holds nothing that could be an advert. Save the advert's text as a .txt file.")
    return Ingested(tuple(adverts), tuple(refusals))
