"""The newest ranking as it is stored, and what it rested on; read without the rest of the store, which takes longer to
import than `show` takes to answer.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import duckdb

DATABASE = "viewworthy.duckdb"
# What a run makes from the rest: a change in them is no new input.
DERIVED = frozenset({"readings", "facts", "claims", "links", "refs", "runs", "results", "told", "note_readings"})


class Source(NamedTuple):
    """What an advert may be called."""

    advert_id: str
    source: str


class Row(NamedTuple):
    """One vehicle of a ranking as stored: `lines` are what `show` prints, `result` is JSON.

    `apart`: bought, sold or gone by the buyer's own record, so that it is kept and not ranked.
    """

    ref: str
    title: str
    verdict: str
    visit_worth: float | None
    asking_price: float | None
    texts: tuple[Source, ...] = ()
    result: str = "{}"
    lines: str = ""
    apart: bool = False


def inputs(db: duckdb.DuckDBPyConnection) -> str:
    """What the database holds, apart from what runs make of it, as counts and hashes."""
    tables = db.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY table_name").fetchall()
    parts = []
    for (table,) in tables:
        if table not in DERIVED:
            query = f'SELECT count(*), coalesce(sum(hash(t)), 0)::VARCHAR FROM "{table}" t'
            parts.append((table, *db.execute(query).fetchall()[0]))
    return str(parts)


def rows(db: duckdb.DuckDBPyConnection, ref: str | None = None) -> list[Row]:
    """The newest ranking, best first, and what stands apart from it. With `ref`: that vehicle, lines and JSON too."""
    found = db.execute(
        "SELECT ref, verdict, visit_worth, asking_price, names, apart, if($ref IS NULL, '', result), "
        "if($ref IS NULL, '', lines) FROM results WHERE $ref IS NULL OR ref = $ref ORDER BY apart, place",
        {"ref": ref},
    ).fetchall()
    listed = []
    for number, verdict, worth, price, names, apart, result, lines in found:
        title, texts = json.loads(names)
        sources = tuple(Source(*pair) for pair in texts)
        listed.append(Row(number, title, verdict, worth, price, sources, result or "{}", lines, apart))
    return listed


class NothingToShow(Exception):
    """The database is not there, busy, or of an older program."""


class Glance:
    """The last run as the database holds it, read-only. Empty where there is none or it is of an older program."""

    def __init__(self, db: duckdb.DuckDBPyConnection) -> None:
        self._db = db

    def holds(self, run: str) -> bool:
        """Whether the last run rested on what `run` is the key of."""
        last = self._db.execute("SELECT inputs FROM runs ORDER BY run_id DESC LIMIT 1").fetchone()
        return last is not None and last[0] == run

    def inputs(self) -> str:
        """As `inputs`."""
        return inputs(self._db)

    def rows(self, ref: str | None = None) -> list[Row]:
        """As `rows`."""
        return rows(self._db, ref)


@contextmanager
def glance(folder: Path) -> Iterator[Glance]:
    """A look at a search folder's database. Raises NothingToShow."""
    try:
        settings = {"enable_external_access": "false", "threads": "2"}
        db = duckdb.connect(str(folder / DATABASE), read_only=True, config=settings)  # type: ignore[arg-type]
    except duckdb.Error as error:
        raise NothingToShow(str(error)) from error
    try:
        yield Glance(db)
    except duckdb.Error as error:
        raise NothingToShow(str(error)) from error
    finally:
        db.close()
