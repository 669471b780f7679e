"""Raw files under their SHA-256, how each was read, and what of them could not be."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pipeline.errors import StoreError
from pipeline.store.journal import Journal, write_durably
from pipeline.store.tables import Tables
from pipeline.types import Ingested, Refusal, SourceFile


@dataclass(frozen=True, slots=True)
class Taken:
    """A file that was read: under which name, when it was last changed, by which reader, and what it gave."""

    name: str
    modified: date | None
    reader: str | None
    adverts: int
    refused: int


class Files(Tables):
    """Tables `files` and `refusals`, and the folder `raw/`."""

    @property
    def journal(self) -> Journal:
        return Journal(self.folder)

    def raw_path(self, sha256: str) -> Path:
        return self.folder / "raw" / sha256[:2] / sha256

    def keep_raw(self, files: Sequence[SourceFile], today: date) -> None:
        """Writes bytes under their hash and a line in the journal, durably, before anything is parsed.

        Raises StoreError when the disk is full or the folder cannot be written.
        """
        try:
            for file in files:
                target = self.raw_path(file.sha256)
                if not target.exists() or target.stat().st_size != len(file.data):
                    target.parent.mkdir(parents=True, exist_ok=True)
                    write_durably(target, file.data)
            self.journal.append(
                [
                    {"what": "file", "day": today, "sha256": f.sha256, "name": f.name, "modified": f.modified}
                    for f in files
                ]
            )
        except OSError as error:
            raise StoreError(
                f"cannot be written ({error.strerror})",
                where=str(self.folder),
                remedy="Make room or get the right to write there, and add the files again; the rest is as it was.",
            ) from error

    def raw_file(self, sha256: str, name: str, modified: date | None = None) -> SourceFile | None:
        """A kept file; None when it is missing or no longer what it was."""
        try:
            data = self.raw_path(sha256).read_bytes()
        except OSError:
            return None
        if hashlib.sha256(data).hexdigest() != sha256:
            return None
        return SourceFile(name, data, sha256, modified)

    def journalled(self) -> list[tuple[date, str, str, date | None]]:
        """Every file as it came, oldest first: day, SHA-256, name, when it was last changed."""
        return [
            (
                date.fromisoformat(line["day"]),
                line["sha256"],
                line["name"],
                date.fromisoformat(line["modified"]) if line["modified"] else None,
            )
            for line in self.journal.lines()
            if line["what"] == "file"
        ]

    def taken(self) -> dict[str, Taken]:
        """Every file that was read, by SHA-256."""
        rows = self._db.execute("SELECT sha256, name, modified, reader, adverts, refused FROM files").fetchall()
        return {row[0]: Taken(*row[1:]) for row in rows}

    def taken_one(self, sha256: str) -> Taken:
        """One file that was read."""
        row = self._db.execute(
            "SELECT name, modified, reader, adverts, refused FROM files WHERE sha256 = ?", [sha256]
        ).fetchone()
        assert row is not None
        return Taken(*row)

    def refusals_of(self, sha256: str) -> list[Refusal]:
        """What of one file could not be read."""
        rows = self._db.execute(
            "SELECT source, reason, line, raw_sha256 FROM refusals WHERE raw_sha256 = ? ORDER BY source, line", [sha256]
        )
        return [Refusal(*row) for row in rows.fetchall()]

    def keep_taken(self, files: Sequence[tuple[SourceFile, Ingested]], reader: str, today: date) -> None:
        """Remembers that these files were read by this version of the reader, and what of them was refused."""
        shas = [file.sha256 for file, _ in files]
        first = dict(
            self._db.execute("SELECT sha256, first_seen FROM files WHERE list_contains(?, sha256)", [shas]).fetchall()
        )
        self._db.execute("DELETE FROM files WHERE list_contains(?, sha256)", [shas])
        columns = ("sha256", "name", "bytes", "modified", "first_seen", "reader", "adverts", "refused")
        rows = {
            f.sha256: (f.sha256, f.name, len(f.data), f.modified, first.get(f.sha256, today), reader,
                       len(got.adverts), len(got.refusals))
            for f, got in files
        }  # fmt: skip
        self._append("files", list(rows.values()), columns)
        self._drop_refusals(file for file, _ in files)
        self.keep_refusals([refusal for _, got in files for refusal in got.refusals], today)

    def keep_refusals(self, refusals: Sequence[Refusal], today: date) -> None:
        """Remembers what could not be read; the same place is kept once, with the latest reason."""
        latest = {(r.source, r.line): r for r in refusals}
        for source, line in latest:
            self._db.execute("DELETE FROM refusals WHERE source = ? AND line IS NOT DISTINCT FROM ?", [source, line])
        self._append("refusals", [(r.source, r.line, r.reason, r.raw_sha256, today) for r in latest.values()])

    def refusals(self) -> tuple[Refusal, ...]:
        rows = self._db.execute("SELECT source, reason, line, raw_sha256 FROM refusals ORDER BY source, line")
        return tuple(Refusal(*row) for row in rows.fetchall())

    def _drop_refusals(self, files: Iterable[SourceFile]) -> None:
        """What these files, earlier states of them and files inside them were refused for."""
        listed = list(files)
        self._db.execute(
            "DELETE FROM refusals WHERE list_contains(?, raw_sha256) OR EXISTS (FROM (SELECT unnest(?) AS name) n "
            "WHERE source = n.name OR starts_with(source, n.name || '#'))",
            [[file.sha256 for file in listed], [file.name for file in listed]],
        )
