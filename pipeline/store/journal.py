"""The journal of a search folder: a line for every file kept and every word of the buyer, in the order it came.

`raw/journal.jsonl` beside the raw files is what the database can be rebuilt from. A line is on the disk before the
database knows of it; a line that a crash cut off is no line.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any


class Journal:
    """Lines of `raw/journal.jsonl`: JSON objects, each with `what` and `day`."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "raw" / "journal.jsonl"

    def append(self, lines: Sequence[Mapping[str, Any]]) -> None:
        """Adds lines, durably. Raises OSError when the disk is full."""
        if not lines:
            return
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with self.path.open("ab+") as handle:
            size = handle.seek(0, os.SEEK_END)
            if size:
                handle.seek(size - 1)
                if handle.read(1) != b"\n":
                    handle.write(b"\n")
            handle.write(_written(lines))
            handle.flush()
            os.fsync(handle.fileno())

    def lines(self) -> list[dict[str, Any]]:
        """Every whole line, oldest first."""
        if not self.path.exists():
            return []
        found = []
        for raw in self.path.read_bytes().split(b"\n"):
            try:
                line = json.loads(raw)
            except ValueError:
                continue  # empty, or cut off
            if isinstance(line, dict) and "what" in line:
                found.append(line)
        return found

    def rewrite(self, lines: Iterable[Mapping[str, Any]]) -> None:
        """Replaces the journal at one stroke."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        write_durably(self.path, _written(lines))


def _written(lines: Iterable[Mapping[str, Any]]) -> bytes:
    return b"".join(json.dumps(line, default=str).encode("ascii") + b"\n" for line in lines)


def write_durably(target: Path, data: bytes) -> None:
    """Whole or not at all, and still there after a power cut: temporary file, fsync, rename, fsync of the folder."""
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    folder = os.open(target.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
