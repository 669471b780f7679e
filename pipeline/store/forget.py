"""Taking an advert out for good: its rows, its raw file, its lines in the journal."""

from __future__ import annotations

import shutil
from collections.abc import Collection
from datetime import date

from pipeline.store.files import Files

_BY_ADVERT = ("refs", "notes")
_BY_SNAPSHOT = ("readings", "facts", "claims")


class Forget(Files):
    """Table `forgotten`: numbers and file hashes only, so that the same files are not taken in again."""

    def raw_of(self, advert_ids: Collection[str]) -> set[str]:
        """SHA-256 of the raw files that these adverts came in."""
        rows = self._db.execute(
            "SELECT DISTINCT raw_sha256 FROM snapshots WHERE list_contains(?, advert_id)", [list(advert_ids)]
        ).fetchall()
        return {row[0] for row in rows}

    def adverts_in(self, raw: Collection[str]) -> set[str]:
        """Every advert that came in these raw files."""
        rows = self._db.execute(
            "SELECT DISTINCT advert_id FROM snapshots WHERE list_contains(?, raw_sha256)", [list(raw)]
        ).fetchall()
        return {row[0] for row in rows}

    def forgotten(self) -> frozenset[str]:
        """SHA-256 of files that the buyer had forgotten."""
        rows = self._db.execute("SELECT DISTINCT raw_sha256 FROM forgotten").fetchall()
        return frozenset(row[0] for row in rows)

    def forget(self, advert_ids: Collection[str], raw: Collection[str], today: date) -> None:
        """Removes adverts and raw files. What remains is their numbers and the hashes of the files.

        The raw files go first: what a crash leaves behind is then a row without a file, which asking again removes.
        """
        ids, shas = list(advert_ids), list(raw)
        for sha256 in shas:
            self.raw_path(sha256).unlink(missing_ok=True)
        lines = self.journal.lines()
        self.journal.rewrite(
            line
            for line in lines
            if line.get("sha256") not in raw and not {line.get("a"), line.get("b"), line.get("advert")} & set(ids)
        )
        shutil.rmtree(self.folder / "cache", ignore_errors=True)  # estimates kept by run.py: they quote adverts
        tables = {row[0] for row in self._db.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
        with self.transaction():
            numbers = self._db.execute(
                "SELECT number FROM adverts WHERE list_contains(?, advert_id) ORDER BY number", [ids]
            ).fetchall()
            snapshots = [
                row[0]
                for row in self._db.execute(
                    "SELECT snapshot_id FROM snapshots WHERE list_contains(?, advert_id)", [ids]
                ).fetchall()
            ]
            self._db.execute(
                "DELETE FROM results WHERE list_contains((SELECT list(DISTINCT ref) FROM refs WHERE "
                "list_contains(?, advert_id)), ref)",
                [ids],
            )
            self._db.execute("DELETE FROM told")
            self._db.execute("DELETE FROM links WHERE list_contains(?, a) OR list_contains(?, b)", [ids, ids])
            self._db.execute("DELETE FROM apart WHERE list_contains(?, a) OR list_contains(?, b)", [ids, ids])
            if "note_readings" in tables:
                self._db.execute(
                    "DELETE FROM note_readings WHERE number IN (SELECT number FROM notes "
                    "WHERE list_contains(?, advert_id))",
                    [ids],
                )
            for table in _BY_SNAPSHOT:
                self._db.execute(f"DELETE FROM {table} WHERE list_contains(?, snapshot_id)", [snapshots])
            for table in (*(t for t in _BY_ADVERT if t in tables), "snapshots", "adverts"):
                self._db.execute(f"DELETE FROM {table} WHERE list_contains(?, advert_id)", [ids])
            for table, column in (("files", "sha256"), ("refusals", "raw_sha256")):
                self._db.execute(f"DELETE FROM {table} WHERE list_contains(?, {column})", [shas])
            self._db.execute("DELETE FROM forgotten WHERE list_contains(?, raw_sha256)", [shas])
            self._append(
                "forgotten",
                [(number, sha256, today) for (number,) in numbers or [(0,)] for sha256 in shas],
            )
