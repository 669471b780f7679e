"""Archives (.zip, .gz) of saved files: read in memory, nothing is ever written under a name that they give."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import PurePosixPath

from pipeline.ingest.limits import MOST_MEMBERS, MOST_UNPACKED
from pipeline.types import Refusal, SourceFile

_CHUNK = 1 << 16
_SKIPPED = (".css", ".js", ".svg", ".woff", ".woff2", ".ttf", ".ico", ".map")


def members(source: SourceFile) -> Iterator[SourceFile | Refusal]:
    """The files of a zip archive in name order, named ARCHIVE#MEMBER; a refusal for each that cannot be read."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(source.data))
        entries = sorted((e for e in archive.infolist() if not e.is_dir()), key=lambda e: e.filename)
    except Exception as error:  # a damaged directory raises many kinds
        yield _refusal(source, source.name, f"is a damaged archive ({type(error).__name__}). Pack it again.")
        return
    if len(entries) > MOST_MEMBERS:
        yield _refusal(source, source.name, f"holds more than {MOST_MEMBERS:,} files. Pack fewer.")
        return
    left, seen = MOST_UNPACKED, set()
    pages = {e.filename.rsplit(".", 1)[0] for e in entries if e.filename.lower().endswith((".html", ".htm"))}
    for entry in entries:
        name = _safe(entry.filename)
        if _left_out(entry.filename, pages):
            continue
        if name in seen:
            name = f"{name} ({entry.header_offset})"
        seen.add(name)
        where = f"{source.name}#{name}"
        if entry.flag_bits & 1:
            yield _refusal(source, where, "is locked with a password. Unpack it and add what it holds.")
            continue
        try:
            with archive.open(entry) as handle:
                data = _bounded(handle.read, left)
        except Exception as error:
            yield _refusal(source, where, f"is a damaged part of an archive ({type(error).__name__}). Pack it again.")
            continue
        if data is None:
            yield _refusal(source, where, f"unpacks to more than {MOST_UNPACKED // 1_000_000} MB. Pack fewer files.")
            return
        left -= len(data)
        yield replace(source, name=where, data=data)


def unzipped(source: SourceFile) -> Iterator[SourceFile | Refusal]:
    """The one file of a .gz."""
    name = source.name[:-3] if source.name.lower().endswith(".gz") else source.name
    stream, out = zlib.decompressobj(wbits=31), bytearray()
    try:
        pending = source.data
        while pending and not stream.eof:
            out += stream.decompress(pending, _CHUNK)
            pending = stream.unconsumed_tail
            if len(out) > MOST_UNPACKED:
                yield _refusal(source, source.name, f"unpacks to more than {MOST_UNPACKED // 1_000_000} MB.")
                return
    except zlib.error:
        yield _refusal(source, source.name, "is a damaged archive. Pack it again.")
        return
    if not stream.eof:
        yield _refusal(source, source.name, "is a cut-off archive. Pack it again.")
        return
    yield replace(source, name=f"{source.name}#{PurePosixPath(name).name}", data=bytes(out))


def _bounded(read: object, most: int) -> bytes | None:
    """What a file-like gives, None when it is more than `most` bytes, whatever its directory says."""
    out = bytearray()
    while chunk := read(_CHUNK):  # type: ignore[operator]
        out += chunk
        if len(out) > most:
            return None
    return bytes(out)


def _safe(name: str) -> str:
    """A name for messages and ids: no way up or to the root, no control characters."""
    parts = [p for p in name.replace("\\", "/").split("/") if p not in ("", ".", "..")]
    return "".join(c if c.isprintable() else "?" for c in "/".join(parts))[-300:] or "nameless"


def _left_out(name: str, pages: set[str]) -> bool:
    """What is beside adverts: hidden files, pictures and scripts of a saved page, what systems put into archives."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if any(part.startswith((".", "__MACOSX")) and part not in ("..", ".") for part in parts):
        return True
    folders = ["/".join(parts[: n + 1]) for n in range(len(parts) - 1)]
    return name.lower().endswith(_SKIPPED) or any(f.endswith("_files") and f[:-6] in pages for f in folders)


def _refusal(source: SourceFile, where: str, reason: str) -> Refusal:
    return Refusal(where, reason, None, source.sha256)
