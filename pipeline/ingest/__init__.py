"""Reads the files a buyer saved and gives adverts, with a refusal for whatever could not be read."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from pathlib import Path

from pipeline.ingest.detect import detect
from pipeline.ingest.mail import read_mail
from pipeline.ingest.page import read_page
from pipeline.ingest.pdf import read_pdf
from pipeline.ingest.tables import read_csv, read_jsonl, read_xlsx
from pipeline.ingest.text import read_text
from pipeline.types import Ingested, Refusal, SourceFile

__all__ = ["gather", "read_source"]

READERS: dict[str, Callable[[SourceFile], Ingested]] = {
    "text": read_text,
    "csv": read_csv,
    "jsonl": read_jsonl,
    "xlsx": read_xlsx,
    "html": read_page,
    "mail": read_mail,
    "pdf": read_pdf,
}


def gather(paths: Iterable[Path]) -> Iterator[SourceFile | Refusal]:
    """Every file of `paths` (folders are walked in name order, hidden files left out), or why it cannot be opened."""
    for path in paths:
        inside = path.is_dir()
        for file in sorted(p for p in path.rglob("*") if p.is_file()) if inside else [path]:
            relative = file.relative_to(path) if inside else Path(file.name)
            if inside and any(part.startswith(".") for part in relative.parts):
                continue
            try:
                data = file.read_bytes()
                modified = date.fromtimestamp(file.stat().st_mtime)
            except OSError as error:
                reason = f"cannot be opened ({error.strerror}). Check the name and that you may read it."
                yield Refusal(relative.as_posix(), reason)
                continue
            yield SourceFile(relative.as_posix(), data, hashlib.sha256(data).hexdigest(), modified)


def read_source(source: SourceFile) -> Ingested:
    """The adverts in one file; never raises for what the file holds."""
    kind = detect(source)
    reader = READERS.get(kind)
    if reader is None:
        reason = f"is {kind}, which this program does not read. Save the advert's text as a .txt file."
        return Ingested((), (Refusal(source.name, reason, raw_sha256=source.sha256),))
    try:
        return reader(source)
    except Exception as error:  # hostile files make libraries raise anything; the run must go on
        reason = f"could not be read as {kind} ({type(error).__name__}). Save the advert's text as a .txt file."
        return Ingested((), (Refusal(source.name, reason, raw_sha256=source.sha256),))
