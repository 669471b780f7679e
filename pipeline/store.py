"""The search folder's database (DuckDB): schema, numbered migrations, typed reads and writes.

The only module with SQL. A store is opened for one command and closed after it: DuckDB allows one writing process
at a time. Raw files stand beside the database under their SHA-256 and are written before anything is parsed.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Literal

import duckdb

from pipeline.errors import StoreError
from pipeline.types import Advert, Claim, Fact, PricePoint, Reading, Refusal, Snapshot, SourceFile, StatedValue

TABLES = ("files", "refusals", "adverts", "snapshots", "facts", "claims", "links", "refs", "runs", "results")

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE files (sha256 VARCHAR PRIMARY KEY, name VARCHAR NOT NULL, bytes BIGINT NOT NULL,
        modified DATE, first_seen DATE NOT NULL);
    CREATE TABLE refusals (source VARCHAR NOT NULL, line INTEGER, reason VARCHAR NOT NULL, raw_sha256 VARCHAR,
        seen DATE NOT NULL);
    CREATE TABLE adverts (advert_id VARCHAR PRIMARY KEY, number INTEGER NOT NULL UNIQUE, first_seen DATE NOT NULL,
        last_seen DATE NOT NULL);
    CREATE SEQUENCE snapshot_ids;
    CREATE TABLE snapshots (snapshot_id BIGINT PRIMARY KEY DEFAULT nextval('snapshot_ids'),
        advert_id VARCHAR NOT NULL, content_sha256 VARCHAR NOT NULL, text_sha256 VARCHAR NOT NULL,
        text VARCHAR NOT NULL, saved_on DATE NOT NULL, source VARCHAR NOT NULL, raw_sha256 VARCHAR NOT NULL,
        reader VARCHAR NOT NULL, title VARCHAR, url VARCHAR, seller VARCHAR, place VARCHAR, distance_miles DOUBLE,
        stated VARCHAR NOT NULL, first_seen DATE NOT NULL, last_seen DATE NOT NULL);
    CREATE TABLE readings (snapshot_id BIGINT PRIMARY KEY, version VARCHAR NOT NULL);
    CREATE TABLE facts (snapshot_id BIGINT NOT NULL, place INTEGER NOT NULL, chosen BOOLEAN NOT NULL,
        key VARCHAR NOT NULL, value VARCHAR NOT NULL, quote VARCHAR NOT NULL, "start" INTEGER NOT NULL,
        "end" INTEGER NOT NULL, rule VARCHAR NOT NULL, confidence DOUBLE NOT NULL, origin VARCHAR NOT NULL);
    CREATE TABLE claims (snapshot_id BIGINT NOT NULL, place INTEGER NOT NULL, subject VARCHAR NOT NULL,
        status VARCHAR NOT NULL, grade VARCHAR NOT NULL, quote VARCHAR NOT NULL, "start" INTEGER NOT NULL,
        "end" INTEGER NOT NULL, rule VARCHAR NOT NULL, at_mileage INTEGER, at_year INTEGER,
        confidence DOUBLE NOT NULL, detail VARCHAR);
    CREATE TABLE links (a VARCHAR NOT NULL, b VARCHAR NOT NULL, reason VARCHAR NOT NULL, score DOUBLE NOT NULL,
        PRIMARY KEY (a, b));
    CREATE TABLE refs (advert_id VARCHAR PRIMARY KEY, ref VARCHAR NOT NULL);
    CREATE TABLE runs (run_id INTEGER PRIMARY KEY, as_of DATE NOT NULL, started TIMESTAMP NOT NULL,
        versions VARCHAR NOT NULL, counts VARCHAR NOT NULL);
    CREATE TABLE results (run_id INTEGER NOT NULL, place INTEGER NOT NULL, ref VARCHAR NOT NULL,
        verdict VARCHAR NOT NULL, visit_worth DOUBLE, asking_price DOUBLE, result VARCHAR NOT NULL);
    """,
)


def content_hash(advert: Advert) -> str:
    """SHA-256 of all that makes a snapshot what it is: text and stated values, not where or when it was saved."""
    parts = [advert.text, advert.title or "", advert.seller or "", advert.place or "", str(advert.distance_miles or "")]
    parts += sorted(f"{s.key}={s.value}" for s in advert.stated)
    return hashlib.sha256("\0".join(parts).encode("utf-8", "surrogatepass")).hexdigest()


class Store:
    """Typed reads and writes on one search folder. Use through `open_store`."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, folder: Path) -> None:
        self._db, self.folder = connection, folder

    # ---- migrations -------------------------------------------------------

    def migrate(self) -> None:
        """Brings the schema up to date. Raises StoreError when the database is newer than this program."""
        self._db.execute("CREATE TABLE IF NOT EXISTS migrations (number INTEGER PRIMARY KEY, applied TIMESTAMP)")
        done = self._one("SELECT coalesce(max(number), 0) FROM migrations")
        if done > len(MIGRATIONS):
            raise StoreError(
                f"the database has schema {done}, this program knows {len(MIGRATIONS)}",
                where=str(self.folder),
                remedy="Install the newer viewworthy that made it.",
            )
        for number in range(done + 1, len(MIGRATIONS) + 1):
            with self.transaction():
                self._db.execute(MIGRATIONS[number - 1])
                self._db.execute("INSERT INTO migrations VALUES (?, now()::TIMESTAMP)", [number])
            self._db.execute("CHECKPOINT")

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing: rolled back on any exception (a commit after an error would lose rows silently)."""
        self._db.execute("BEGIN")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    def _one(self, sql: str, values: Sequence[Any] = ()) -> Any:
        row = self._db.execute(sql, list(values)).fetchone()
        return row[0] if row else None

    # ---- files and adverts --------------------------------------------------

    def keep_raw(self, file: SourceFile, today: date) -> bool:
        """Writes the bytes under their hash, durably, before they are parsed. True when they are new."""
        target = self.folder / "raw" / file.sha256[:2] / file.sha256
        if not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            part = target.with_suffix(f".{os.getpid()}.part")
            with part.open("wb") as handle:
                handle.write(file.data)
                handle.flush()
                os.fsync(handle.fileno())
            part.replace(target)
            handle_of_folder = os.open(target.parent, os.O_RDONLY)
            try:
                os.fsync(handle_of_folder)
            finally:
                os.close(handle_of_folder)
        if self._one("SELECT count(*) FROM files WHERE sha256 = ?", [file.sha256]):
            return False
        self._db.execute(
            "INSERT INTO files VALUES (?, ?, ?, ?, ?)", [file.sha256, file.name, len(file.data), file.modified, today]
        )
        return True

    def keep_refusals(self, refusals: Sequence[Refusal], today: date) -> None:
        """Remembers what could not be read; the same refusal is kept once."""
        for r in refusals:
            self._db.execute(
                "DELETE FROM refusals WHERE source = ? AND line IS NOT DISTINCT FROM ?", [r.source, r.line]
            )
            self._db.execute(
                "INSERT INTO refusals VALUES (?, ?, ?, ?, ?)", [r.source, r.line, r.reason, r.raw_sha256, today]
            )

    def refusals(self) -> tuple[Refusal, ...]:
        rows = self._db.execute(
            "SELECT source, reason, line, raw_sha256 FROM refusals ORDER BY source, line"
        ).fetchall()
        return tuple(Refusal(*row) for row in rows)

    def forget_refusals_of(self, source: str) -> None:
        """A source that can be read now is no longer refused."""
        self._db.execute("DELETE FROM refusals WHERE source = ?", [source])

    def keep_advert(self, advert: Advert, today: date) -> Literal["new", "changed", "same"]:
        """Stores an advert as a snapshot: a new advert, a changed text or price, or the same as before."""
        saved_on, content = advert.saved_on or today, content_hash(advert)
        known = self._one("SELECT count(*) FROM adverts WHERE advert_id = ?", [advert.advert_id])
        if known:
            self._db.execute(
                "UPDATE adverts SET last_seen = greatest(last_seen, ?), first_seen = least(first_seen, ?) "
                "WHERE advert_id = ?",
                [saved_on, saved_on, advert.advert_id],
            )
            same = self._one(
                "SELECT snapshot_id FROM snapshots WHERE advert_id = ? AND content_sha256 = ?",
                [advert.advert_id, content],
            )
            if same is not None:
                self._db.execute(
                    "UPDATE snapshots SET last_seen = greatest(last_seen, ?), first_seen = least(first_seen, ?), "
                    "saved_on = least(saved_on, ?) WHERE snapshot_id = ?",
                    [saved_on, saved_on, saved_on, same],
                )
                return "same"
        else:
            number = self._one("SELECT coalesce(max(number), 0) + 1 FROM adverts")
            self._db.execute("INSERT INTO adverts VALUES (?, ?, ?, ?)", [advert.advert_id, number, saved_on, saved_on])
        self._db.execute(
            "INSERT INTO snapshots (advert_id, content_sha256, text_sha256, text, saved_on, source, raw_sha256, "
            "reader, title, url, seller, place, distance_miles, stated, first_seen, last_seen) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                advert.advert_id,
                content,
                hashlib.sha256(advert.text.encode("utf-8", "surrogatepass")).hexdigest(),
                advert.text,
                saved_on,
                advert.source,
                advert.raw_sha256,
                advert.reader,
                advert.title,
                advert.url,
                advert.seller,
                advert.place,
                advert.distance_miles,
                json.dumps([asdict(s) for s in advert.stated], ensure_ascii=False, default=str),
                saved_on,
                saved_on,
            ],
        )
        return "changed" if known else "new"

    def snapshots(self) -> list[Snapshot]:
        """Every snapshot, by advert number and then by day."""
        rows = self._db.execute(
            "SELECT s.snapshot_id, s.advert_id, s.text, s.source, s.raw_sha256, s.reader, s.title, s.saved_on, s.url, "
            "s.seller, s.place, s.distance_miles, s.stated, s.text_sha256, s.first_seen, s.last_seen "
            "FROM snapshots s JOIN adverts a USING (advert_id) ORDER BY a.number, s.saved_on, s.snapshot_id"
        ).fetchall()
        return [
            Snapshot(
                snapshot_id=row[0],
                advert=replace(Advert(*row[1:12]), stated=tuple(StatedValue(**s) for s in json.loads(row[12]))),
                saved_on=row[7],
                text_sha256=row[13],
                first_seen=row[14],
                last_seen=row[15],
            )
            for row in rows
        ]

    # ---- readings -----------------------------------------------------------

    def unread(self, version: str) -> set[int]:
        """Snapshots that no reading of this version of rules and models covers."""
        rows = self._db.execute(
            "SELECT s.snapshot_id FROM snapshots s LEFT JOIN readings r ON r.snapshot_id = s.snapshot_id "
            "AND r.version = ? WHERE r.snapshot_id IS NULL",
            [version],
        ).fetchall()
        return {row[0] for row in rows}

    def keep_readings(self, readings: Mapping[int, Reading], version: str) -> None:
        """Replaces the readings of these snapshots."""
        if not readings:
            return
        fact_rows, claim_rows = [], []
        for snapshot_id, reading in readings.items():
            chosen = [(True, f) for f in reading.facts] + [(False, f) for f in reading.rivals]
            for place, (is_chosen, f) in enumerate(chosen):
                value = json.dumps(f.value, ensure_ascii=False)
                fact_rows.append(
                    (
                        snapshot_id,
                        place,
                        is_chosen,
                        f.key,
                        value,
                        f.quote,
                        f.start,
                        f.end,
                        f.rule,
                        f.confidence,
                        f.origin,
                    )
                )
            for place, c in enumerate(reading.claims):
                claim_rows.append(
                    (snapshot_id, place, c.subject, c.status, c.grade, c.quote, c.start, c.end, c.rule, c.at_mileage,
                     c.at_year, c.confidence, c.detail)
                )  # fmt: skip
        ids = list(readings)
        with self.transaction():
            for table in ("facts", "claims", "readings"):
                self._db.execute(f"DELETE FROM {table} WHERE list_contains(?, snapshot_id)", [ids])
            self._append("facts", fact_rows)
            self._append("claims", claim_rows)
            self._append("readings", [(snapshot_id, version) for snapshot_id in ids])

    def _append(self, table: str, rows: Sequence[Sequence[Any]]) -> None:
        if not rows:
            return
        import pandas as pd  # only the commands that write many rows pay for it

        columns = [d[0] for d in self._db.execute(f"SELECT * FROM {table} LIMIT 0").description]
        frame = pd.DataFrame(rows, columns=columns, dtype=object)
        self._db.register("rows_to_append", frame)
        try:
            self._db.execute(f"INSERT INTO {table} SELECT * FROM rows_to_append")
        finally:
            self._db.unregister("rows_to_append")

    def readings(self) -> dict[int, Reading]:
        """Every stored reading: snapshot id -> reading."""
        facts: dict[int, list[tuple[bool, Fact]]] = {}
        for row in self._db.execute(
            'SELECT snapshot_id, chosen, key, value, quote, "start", "end", rule, confidence, origin FROM facts '
            "ORDER BY snapshot_id, place"
        ).fetchall():
            fact = Fact(row[2], json.loads(row[3]), *row[4:10])
            facts.setdefault(row[0], []).append((row[1], fact))
        claims: dict[int, list[Claim]] = {}
        for row in self._db.execute(
            'SELECT snapshot_id, subject, status, grade, quote, "start", "end", rule, at_mileage, at_year, confidence, '
            "detail FROM claims ORDER BY snapshot_id, place"
        ).fetchall():
            claims.setdefault(row[0], []).append(Claim(*row[1:]))
        ids = [row[0] for row in self._db.execute("SELECT snapshot_id FROM readings").fetchall()]
        return {
            i: Reading(
                facts=tuple(f for chosen, f in facts.get(i, ()) if chosen),
                claims=tuple(claims.get(i, ())),
                rivals=tuple(f for chosen, f in facts.get(i, ()) if not chosen),
            )
            for i in ids
        }

    # ---- vehicles -----------------------------------------------------------

    def keep_links(self, links: Sequence[tuple[str, str, str, float]]) -> None:
        """Replaces the proposed links (advert, advert, reason, score)."""
        with self.transaction():
            self._db.execute("DELETE FROM links")
            self._append("links", links)

    def links(self) -> list[tuple[str, str, str, float]]:
        return [
            tuple(row) for row in self._db.execute("SELECT a, b, reason, score FROM links ORDER BY a, b").fetchall()
        ]

    def keep_refs(self, refs: Mapping[str, str]) -> None:
        """Which vehicle each advert is of: advert id -> ref."""
        with self.transaction():
            self._db.execute("DELETE FROM refs")
            self._append("refs", list(refs.items()))

    def refs(self) -> dict[str, str]:
        return dict(self._db.execute("SELECT advert_id, ref FROM refs").fetchall())

    def advert_numbers(self) -> dict[str, int]:
        return dict(self._db.execute("SELECT advert_id, number FROM adverts ORDER BY number").fetchall())

    # ---- runs ---------------------------------------------------------------

    def keep_run(
        self,
        as_of: date,
        versions: Mapping[str, str],
        counts: Mapping[str, int],
        rows: Sequence[tuple[str, str, float | None, float | None, str]],
    ) -> int:
        """One run's ranking, best first; rows are (ref, verdict, visit worth, asking price, result as JSON)."""
        with self.transaction():
            run_id = int(self._one("SELECT coalesce(max(run_id), 0) + 1 FROM runs"))
            self._db.execute(
                "INSERT INTO runs VALUES (?, ?, ?, ?, ?)",
                [run_id, as_of, datetime.now(), json.dumps(dict(versions)), json.dumps(dict(counts))],
            )
            self._append("results", [(run_id, place, *row) for place, row in enumerate(rows)])
        return run_id

    def last_results(self) -> list[dict[str, Any]]:
        """The newest run's results, best first; empty before the first run."""
        rows = self._db.execute(
            "SELECT result FROM results WHERE run_id = (SELECT max(run_id) FROM runs) ORDER BY place"
        ).fetchall()
        return [json.loads(row[0]) for row in rows]

    # ---- export -------------------------------------------------------------

    def export(self, target: Path, kind: Literal["parquet", "csv", "jsonl"]) -> list[Path]:
        """Every table as one file in `target`. CSV cells that a spreadsheet would run get a leading apostrophe."""
        import pandas as pd

        target.mkdir(parents=True, exist_ok=True)
        written = []
        for table in TABLES:
            frame: pd.DataFrame = self._db.execute(f"SELECT * FROM {table}").df()
            path = target / f"{table}.{kind}"
            if kind == "parquet":
                frame.to_parquet(path, index=False)
            elif kind == "csv":
                frame.map(_inert).to_csv(path, index=False)
            else:
                frame.to_json(path, orient="records", lines=True, date_format="iso", force_ascii=False)
            written.append(path)
        return written


def price_points(snapshots: Sequence[Snapshot], readings: Mapping[int, Reading]) -> tuple[PricePoint, ...]:
    """The price history of one advert or vehicle, oldest first; a price that did not change is listed once."""
    points: list[PricePoint] = []
    for snapshot in sorted(snapshots, key=lambda s: (s.saved_on, s.snapshot_id)):
        reading = readings.get(snapshot.snapshot_id)
        price = reading.fact("asking_price") if reading else None
        if not points or points[-1].price != price:
            currency = reading.fact("currency") if reading else None
            points.append(PricePoint(snapshot.saved_on, price, currency, snapshot.advert.advert_id))
    return tuple(points)


def _inert(cell: Any) -> Any:
    """A text cell that no spreadsheet takes for a formula."""
    if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"):
        return "'" + cell
    return cell


@contextmanager
def open_store(folder: Path, *, wait_seconds: float = 10.0, create: bool = True) -> Iterator[Store]:
    """The store of a search folder, migrated; closed afterwards.

    Waits while another process writes, up to `wait_seconds`. Raises StoreError when it is still busy, missing
    (with `create=False`), damaged, or newer than this program.
    """
    path = folder / "viewworthy.duckdb"
    if not create and not path.exists():
        raise StoreError("nothing has been added here yet", where=str(folder), remedy="Run 'viewworthy add' first.")
    connection = _connect(path, wait_seconds)
    try:
        store = Store(connection, folder)
        store.migrate()
        yield store
        connection.execute("CHECKPOINT")
    finally:
        connection.close()


def _connect(path: Path, wait_seconds: float) -> duckdb.DuckDBPyConnection:
    settings: dict[str, Any] = {"enable_external_access": "false", "lock_configuration": "true", "threads": "2"}
    deadline, pause = time.monotonic() + wait_seconds, 0.05
    while True:
        try:
            return duckdb.connect(str(path), config=settings)
        except duckdb.IOException as error:
            busy = "lock" in str(error).lower()
            if not busy:
                raise StoreError(
                    f"cannot be opened ({str(error).splitlines()[0]})",
                    where=str(path),
                    remedy="Check that the folder can be written and the file is whole.",
                ) from error
            if time.monotonic() > deadline:
                raise StoreError(
                    "another viewworthy is writing here", where=str(path), remedy="Wait for it to end and try again."
                ) from error
            time.sleep(pause)
            pause = min(pause * 2, 1.0)
        except duckdb.Error as error:
            raise StoreError(f"cannot be opened ({str(error).splitlines()[0]})", where=str(path)) from error
