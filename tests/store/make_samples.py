"""Databases as earlier versions of the program left them, for the test that they are brought up to date.

`python tests/store/make_samples.py` writes a sample for every schema that has none yet; run it after a migration was
added. A sample that is there is never made anew: it is what that version wrote.
"""

from __future__ import annotations

import gzip
import hashlib
import sys
import tempfile
from pathlib import Path

import duckdb

SAMPLES = Path(__file__).parent / "samples"
TEXT = "1994 Marrick Dale camper, 2.4 diesel, 98,000 miles. £{}."
RAW = TEXT.format("2,000").encode()
RAW_SHA = hashlib.sha256(RAW).hexdigest()
NOTE = (
    '{"number":0,"advert_id":"a.txt","day":"2026-10-02","learnt":"call","text":"","findings":[],"answers":[],'
    '"facts":{},"photos":[],"price_agreed":null,"price_refused":1800.0,"no_less":false,"fate":"",'
    '"fact_corrections":[],"claim_corrections":[],"undone":false}'
)


def fill(db: duckdb.DuckDBPyConnection) -> None:
    """Rows as they stood in the first schema; columns that came later take what their migration gives them."""
    db.execute("INSERT INTO files (sha256, name, bytes, modified, first_seen) VALUES (?, 'a.txt', ?, NULL, ?)",
               [RAW_SHA, len(RAW), "2026-10-01"])  # fmt: skip
    db.execute("INSERT INTO refusals VALUES ('torn.pdf', NULL, 'is damaged.', NULL, '2026-10-01')")
    db.execute("INSERT INTO adverts VALUES ('a.txt', 1, '2026-10-01', '2026-10-20')")
    for price, first, last in (("2,000", "2026-10-01", "2026-10-05"), ("1,900", "2026-10-06", "2026-10-20")):
        text = TEXT.format(price)
        db.execute(
            "INSERT INTO snapshots (advert_id, content_sha256, text_sha256, text, saved_on, source, raw_sha256, "
            "reader, title, url, seller, place, distance_miles, stated, first_seen, last_seen) "
            "VALUES ('a.txt', ?, ?, ?, ?, 'a.txt', ?, 'text', NULL, NULL, NULL, 'Hexham', 12.5, '[]', ?, ?)",
            [price, hashlib.sha256(text.encode()).hexdigest(), text, first, RAW_SHA, first, last],
        )
    db.execute("INSERT INTO readings (snapshot_id, version) VALUES (1, 'v1')")
    db.execute("INSERT INTO facts VALUES (1, 0, true, 'asking_price', '2000', '£2,000', 48, 54, 'r', 1.0, 'text')")
    db.execute("INSERT INTO claims VALUES (1, 0, 'sills', 'absent', 'plain', 'q', 0, 1, 'r', NULL, 2021, 0.8, NULL)")
    db.execute("INSERT INTO refs VALUES ('a.txt', '1')")
    db.execute("INSERT INTO runs (run_id, as_of, started, versions, counts) "
               "VALUES (1, '2026-10-20', '2026-10-20 09:00:00', '{}', '{\"vehicles\": 1}')")  # fmt: skip
    db.execute("INSERT INTO results (run_id, place, ref, verdict, visit_worth, asking_price, result) "
               "VALUES (1, 0, '1', 'travel', 100.0, 1900.0, '{\"ref\": \"1\"}')")  # fmt: skip
    tables = {row[0] for row in db.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
    if "notes" in tables:
        db.execute("INSERT INTO notes (number, advert_id, day, written, text, what) "
                   "VALUES (1, 'a.txt', '2026-10-02', '2026-10-02 10:00:00', '', ?)", [NOTE])  # fmt: skip


def make(schema: int, target: Path) -> None:
    """A database with the first `schema` migrations, filled."""
    from pipeline.store.migrations import MIGRATIONS

    with duckdb.connect(str(target)) as db:
        db.execute("CREATE TABLE migrations (number INTEGER PRIMARY KEY, applied TIMESTAMP)")
        for number, migration in enumerate(MIGRATIONS[:schema], 1):
            db.execute(migration)
            db.execute("INSERT INTO migrations VALUES (?, now()::TIMESTAMP)", [number])
        fill(db)


def sample(schema: int, target: Path) -> None:
    """The stored sample of a schema; one that is not stored yet is made."""
    stored = SAMPLES / f"schema-{schema}.duckdb.gz"
    if stored.exists():
        target.write_bytes(gzip.decompress(stored.read_bytes()))
    else:
        make(schema, target)


def main() -> None:
    sys.path.insert(0, str(Path(__file__).parents[2]))
    from pipeline.store.migrations import MIGRATIONS

    SAMPLES.mkdir(exist_ok=True)
    for schema in range(1, len(MIGRATIONS) + 1):
        stored = SAMPLES / f"schema-{schema}.duckdb.gz"
        if not stored.exists():
            with tempfile.TemporaryDirectory() as folder:
                make(schema, Path(folder) / "x.duckdb")
                stored.write_bytes(gzip.compress((Path(folder) / "x.duckdb").read_bytes(), mtime=0))
            print(f"wrote {stored}")


if __name__ == "__main__":
    main()
