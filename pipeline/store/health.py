"""Whether the database and the raw files are whole: hashes, counts, keys between tables."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from pipeline.store.files import Files

# Every value of the first column must stand in the second.
REFERENCES: tuple[tuple[str, str, str, str], ...] = (
    ("snapshots", "advert_id", "adverts", "advert_id"),
    ("snapshots", "raw_sha256", "files", "sha256"),
    ("adverts", "advert_id", "snapshots", "advert_id"),
    ("readings", "snapshot_id", "snapshots", "snapshot_id"),
    ("facts", "snapshot_id", "readings", "snapshot_id"),
    ("claims", "snapshot_id", "readings", "snapshot_id"),
    ("links", "a", "adverts", "advert_id"),
    ("links", "b", "adverts", "advert_id"),
    ("apart", "a", "adverts", "advert_id"),
    ("apart", "b", "adverts", "advert_id"),
    ("refs", "advert_id", "adverts", "advert_id"),
    ("results", "run_id", "runs", "run_id"),
    ("notes", "advert_id", "adverts", "advert_id"),
    ("note_readings", "number", "notes", "number"),
)


class Health(Files):
    """No tables of its own."""

    def counts(self) -> dict[str, int]:
        """Rows a table, in the order in which migrations made them."""
        names = self._db.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY table_oid")
        return {name: int(self._one(f"SELECT count(*) FROM {name}")) for (name,) in names.fetchall()}

    def schema(self) -> int:
        """The number of the last migration."""
        return int(self._one("SELECT max(number) FROM migrations"))

    def troubles(self) -> Iterator[str]:
        """What is not as it should be, a sentence each; nothing when all is well."""
        yield from self._raw_troubles()
        yield from self._row_troubles()
        tables = self.counts()
        for table, column, other, key in REFERENCES:
            if table in tables and other in tables:
                lost = self._one(
                    f"SELECT count(*) FROM {table} t WHERE NOT EXISTS (FROM {other} o WHERE o.{key} = t.{column})"
                )
                if lost:
                    yield f"{lost} rows of {table} name a {column} that {other} does not hold"

    def _raw_troubles(self) -> Iterator[str]:
        known = dict(self._db.execute("SELECT sha256, name FROM files").fetchall())
        listed = {sha256 for _, sha256, _, _ in self.journalled()}
        for sha256, name in sorted(known.items(), key=lambda pair: pair[1]):
            path = self.raw_path(sha256)
            if not path.exists():
                yield f"the raw file of {name} is missing ({path.relative_to(self.folder)})"
                continue
            digest = hashlib.sha256()
            with path.open("rb") as handle:
                while piece := handle.read(1 << 20):
                    digest.update(piece)
            if digest.hexdigest() != sha256:
                yield f"the raw file of {name} is no longer what was kept ({path.relative_to(self.folder)})"
            if sha256 not in listed:
                yield f"{name} is missing from the journal"
        waiting = len(listed - known.keys())
        if waiting:
            yield f"{waiting} kept files were not read to the end; 'viewworthy add' finishes them"

    def _row_troubles(self) -> Iterator[str]:
        wrong = [
            advert_id
            for advert_id, text, told in self._db.execute(
                "SELECT advert_id, text, text_sha256 FROM snapshots"
            ).fetchall()
            if hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest() != told
        ]
        for advert_id in wrong:
            yield f"the stored text of {advert_id} is not what was stored"
        twice = self._one("SELECT count(*) FROM (SELECT number FROM adverts GROUP BY number HAVING count(*) > 1)")
        if twice:
            yield f"{twice} advert numbers stand twice"
        late = self._one("SELECT count(*) FROM snapshots WHERE last_seen < first_seen")
        if late:
            yield f"{late} snapshots were last seen before they were first seen"
        gaps = self._one(
            "SELECT count(*) FROM (SELECT run_id FROM results GROUP BY run_id HAVING count(DISTINCT place) <> count(*))"
        )
        if gaps:
            yield f"{gaps} runs have two results in one place"
