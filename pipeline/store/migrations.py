"""The schema as numbered migrations. A released migration is never edited: append a new one at the end.

Each is run once, in a transaction of its own. Keys between tables are checked by `viewworthy doctor` (see
`doctor.py`), not by the database, which would copy whole rows at every update of a table that is referred to.
"""

from __future__ import annotations

MIGRATIONS: tuple[str, ...] = (
    # 1: files, adverts with their snapshots, readings, links, runs with their results
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
    # 2: how each file was read, pairs that the buyer keeps apart, what the buyer had forgotten
    """
    ALTER TABLE files ADD COLUMN reader VARCHAR;
    ALTER TABLE files ADD COLUMN adverts INTEGER DEFAULT 0;
    ALTER TABLE files ADD COLUMN refused INTEGER DEFAULT 0;
    CREATE TABLE apart (a VARCHAR NOT NULL, b VARCHAR NOT NULL, decided DATE NOT NULL, PRIMARY KEY (a, b));
    CREATE TABLE forgotten (number INTEGER NOT NULL, raw_sha256 VARCHAR NOT NULL, forgotten DATE NOT NULL,
        PRIMARY KEY (number, raw_sha256));
    """,
    # notes: what the buyer recorded, and what was read in its free text
    """
    CREATE TABLE notes (number INTEGER PRIMARY KEY, advert_id VARCHAR NOT NULL, day DATE NOT NULL,
        written TIMESTAMP NOT NULL, text VARCHAR NOT NULL, what VARCHAR NOT NULL, undone TIMESTAMP);
    CREATE TABLE note_readings (number INTEGER PRIMARY KEY, version VARCHAR NOT NULL, reading VARCHAR NOT NULL);
    """,
    # runs: how long each stage took and on what it rested; what `show` prints; what the last digest was told from
    """
    ALTER TABLE runs ADD COLUMN inputs VARCHAR DEFAULT '';
    ALTER TABLE runs ADD COLUMN seconds VARCHAR DEFAULT '{}';
    ALTER TABLE runs ADD COLUMN command VARCHAR DEFAULT '';
    ALTER TABLE results ADD COLUMN names VARCHAR DEFAULT '[]';
    ALTER TABLE results ADD COLUMN lines VARCHAR DEFAULT '';
    ALTER TABLE results ADD COLUMN apart BOOLEAN DEFAULT false;
    ALTER TABLE readings ADD COLUMN saved_on DATE;
    CREATE TABLE told (name VARCHAR PRIMARY KEY, as_of DATE NOT NULL, what VARCHAR NOT NULL);
    """,
)
