"""What `show` needs of the last run, without waiting for the libraries that a run needs.

Beside the package `store/` the only module with SQL: that package takes longer to import than this to answer.
"""

from __future__ import annotations

import json
import shutil
import tomllib
from datetime import date
from pathlib import Path
from typing import NamedTuple

import duckdb

from pipeline.keys import run_key
from pipeline.paths import data_folder
from pipeline.wrap import wrapped

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


def last_shown(folder: Path, ref: str) -> Row | None:
    """A vehicle as the last run left it; None when there was none or anything has changed since.

    Raises UsageError when `ref` fits no vehicle or several.
    """
    from pipeline.refs import find_vehicle

    try:
        settings = {"enable_external_access": "false", "threads": "2"}
        db = duckdb.connect(str(folder / "viewworthy.duckdb"), read_only=True, config=settings)  # type: ignore[arg-type]
    except duckdb.Error:
        return None  # not there, or being written: the run says so
    try:
        day = _day(folder)
        last = db.execute("SELECT inputs FROM runs ORDER BY run_id DESC LIMIT 1").fetchone()
        if day is None or last is None or last[0] != run_key(folder, data_folder("rules"), day, inputs(db)):
            return None
        return rows(db, find_vehicle(rows(db), ref).ref)[0]
    except duckdb.Error:
        return None  # a database from before there were these tables: the run brings it up to date
    finally:
        db.close()


def answer(folder: Path, ref: str, as_json: bool) -> str | None:
    """What `show` prints of a vehicle, from the last run; None when that does not hold any more."""
    row = last_shown(folder, ref)
    if row is None:
        return None
    if as_json:
        return json.dumps(json.loads(row.result), ensure_ascii=False, indent=1) + "\n"
    return wrapped(row.lines.split("\n"), shutil.get_terminal_size((100, 40)).columns) + "\n"


def _day(folder: Path) -> str | None:
    """The day that runs work as if on; None when buyer.toml cannot be read, which the run reports."""
    try:
        told = tomllib.loads((folder / "buyer.toml").read_text(encoding="utf-8"))
        day = told["as_of"]["date"] if "as_of" in told else date.today()
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return str(day)
