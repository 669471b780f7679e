"""Reads the files a buyer saved and gives adverts, with a refusal for whatever could not be read."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path

from pipeline.ingest.guard import GUARD
from pipeline.ingest.limits import MOST_BYTES
from pipeline.types import Ingested, Refusal, SourceFile

__all__ = ["gather", "read_source"]

_FOLDER_OF_PAGE = re.compile(r"(.+)(?:_files|-Dateien|_fichiers|_archivos|_bestanden|\.files)")


def gather(paths: Iterable[Path]) -> Iterator[SourceFile | Refusal]:
    """Every file of `paths` one at a time, or why it cannot be opened.

    Folders are walked in name order. Left out inside them: hidden files, and the folder of pictures and scripts that
    a browser saves beside a page.
    """
    for path in paths:
        inside = path.is_dir()
        for file in _walk(path) if inside else [path]:
            name = (file.relative_to(path) if inside else Path(file.name)).as_posix()
            name = name.encode("utf-8", "replace").decode("utf-8")  # names may hold bytes that are no text
            try:
                size = file.stat().st_size
                if size > MOST_BYTES:
                    reason = (
                        f"is larger than {MOST_BYTES // 1_000_000} MB and was left where it is. Save only the adverts."
                    )
                    yield Refusal(name, reason)
                    continue
                data = file.read_bytes()
                modified = date.fromtimestamp(file.stat().st_mtime)
            except (OSError, ValueError, OverflowError) as error:
                told = getattr(error, "strerror", None) or type(error).__name__
                yield Refusal(name, f"cannot be opened ({told}). Check the name and that you may read it.")
                continue
            yield SourceFile(name, data, hashlib.sha256(data).hexdigest(), modified)


def _walk(folder: Path) -> Iterator[Path]:
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        yield folder  # cannot be opened, and is reported so
        return
    pages = {entry.stem for entry in entries if entry.suffix.lower() in (".html", ".htm")}
    for entry in entries:
        assets = _FOLDER_OF_PAGE.fullmatch(entry.name)
        if entry.name.startswith(".") or (assets and assets[1] in pages and entry.is_dir()):
            continue
        if entry.is_dir() and not entry.is_symlink():
            yield from _walk(entry)
        elif entry.is_file():  # no pipes, sockets and devices, which would never end
            yield entry


def read_source(source: SourceFile) -> Ingested:
    """The adverts in one file, read in a process with limits; never raises for what the file holds."""
    return GUARD.read(source)
