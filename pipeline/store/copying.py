"""Rows from one database file into another: when it is rebuilt, and when nothing that was deleted may remain in it."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from pipeline.store.tables import Tables

# What comes from the raw files and the journal again; all other tables hold what only the database knows.
FROM_FILES = frozenset(
    {"files", "refusals", "adverts", "snapshots", "readings", "facts", "claims", "links", "refs", "apart", "migrations"}
)


class Copying(Tables):
    """No tables of its own."""

    def copy_from(self, other: Tables, leaving: Collection[str] = ()) -> list[str]:
        """Every row of the tables that both have, but for those named in `leaving`. Gives the names of the tables."""
        here, there = _columns(self), _columns(other)
        copied = []
        with self.transaction():
            for table in here:
                shared = [column for column in here[table] if column in there.get(table, ())]
                if table in leaving or not shared:
                    continue
                listed = ", ".join(f'"{column}"' for column in shared)
                rows = other._db.sql(f"SELECT {listed} FROM {table} ORDER BY rowid").to_arrow_table()
                self._db.register("given_rows", rows)
                try:
                    self._db.execute(f"DELETE FROM {table}")
                    self._db.execute(f"INSERT INTO {table} ({listed}) SELECT {listed} FROM given_rows")
                finally:
                    self._db.unregister("given_rows")
                copied.append(table)
            for name, used in other._db.execute("SELECT sequence_name, last_value FROM duckdb_sequences()").fetchall():
                if used and "snapshots" in copied:
                    self._db.execute(f"SELECT max(nextval('{name}')) FROM range(?)", [used])
        return copied


def _columns(tables: Tables) -> dict[str, list[str]]:
    found: dict[str, list[Any]] = {}
    for table, column in tables._db.execute(
        "SELECT table_name, column_name FROM duckdb_columns() WHERE NOT internal ORDER BY table_oid, column_index"
    ).fetchall():
        found.setdefault(table, []).append(column)
    return found
