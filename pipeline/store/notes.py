"""What the buyer recorded: notes, and what was read in their free text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from typing import Any

from pydantic import TypeAdapter

from pipeline.store.tables import Tables
from pipeline.types import Note, Reading


class Notes(Tables):
    """Tables `notes` and `note_readings`. A note is never deleted: undoing it marks it."""

    def keep_note(self, note: Note) -> int:
        """Stores a new note; returns its number."""
        with self.transaction():
            number = int(self._one("SELECT coalesce(max(number), 0) + 1 FROM notes"))
            self._db.execute(
                "INSERT INTO notes VALUES (?, ?, ?, ?, ?, ?, NULL)",
                [number, note.advert_id, note.day, datetime.now(), note.text, _adapter(Note).dump_json(note).decode()],
            )
        return number

    def undo_note(self, number: int) -> None:
        """Marks a note as undone; it stays in the history."""
        self._db.execute("UPDATE notes SET undone = ? WHERE number = ? AND undone IS NULL", [datetime.now(), number])

    def notes(self) -> list[Note]:
        """Every note, oldest first, undone ones too."""
        rows = self._db.execute("SELECT number, what, undone IS NOT NULL FROM notes ORDER BY number").fetchall()
        return [_note(number, what, undone) for number, what, undone in rows]

    def unread_notes(self, version: str) -> set[int]:
        """Notes with free text that no reading of this version of rules and models covers."""
        rows = self._db.execute(
            "SELECT n.number FROM notes n LEFT JOIN note_readings r ON r.number = n.number AND r.version = ? "
            "WHERE r.number IS NULL AND n.undone IS NULL AND n.text <> ''",
            [version],
        ).fetchall()
        return {row[0] for row in rows}

    def keep_note_readings(self, readings: Mapping[int, Reading], version: str) -> None:
        """Replaces the readings of these notes' texts."""
        with self.transaction():
            for number, reading in readings.items():
                self._db.execute("DELETE FROM note_readings WHERE number = ?", [number])
                read = _adapter(Reading).dump_json(reading).decode()
                self._db.execute("INSERT INTO note_readings VALUES (?, ?, ?)", [number, version, read])

    def note_readings(self) -> dict[int, Reading]:
        rows = self._db.execute("SELECT number, reading FROM note_readings").fetchall()
        return {number: _adapter(Reading).validate_json(read) for number, read in rows}


@lru_cache(maxsize=4)
def _adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


def _note(number: int, what: str, undone: bool) -> Note:
    note: Note = _adapter(Note).validate_json(what)
    return replace(note, number=number, undone=undone)
