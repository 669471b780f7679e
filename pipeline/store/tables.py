"""What every part of the store builds on: one connection, transactions, rows in bulk."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import duckdb


class Tables:
    """A part of the store subclasses this, keeps its SQL to its own tables, and is named in `Store`'s bases."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, folder: Path) -> None:
        self._db, self.folder = connection, folder
        self._inside = False

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing: rolled back on any exception. Inside another one it is a part of that.

        DuckDB's commit after an error in the transaction returns as if it had worked, hence the roll-back always.
        """
        if self._inside:
            yield
            return
        self._db.execute("BEGIN")
        self._inside = True
        try:
            yield
        except BaseException:
            with suppress(duckdb.Error):  # a database that failed badly has rolled back by itself
                self._db.execute("ROLLBACK")
            raise
        else:
            self._db.execute("COMMIT")
        finally:
            self._inside = False

    def _one(self, sql: str, values: Sequence[Any] = ()) -> Any:
        """The first value of the first row, None when there is no row."""
        row = self._db.execute(sql, list(values)).fetchone()
        return row[0] if row else None

    def _append(self, table: str, rows: Sequence[Sequence[Any]], columns: Sequence[str] = ()) -> None:
        """Inserts rows in bulk; `columns`: which, where the rows do not fill all of the table's."""
        if rows:
            with self._rows(table, rows, columns) as (given, names):
                listed = ", ".join(f'"{name}"' for name in names)
                self._db.execute(f"INSERT INTO {table} ({listed}) SELECT {listed} FROM {given}")

    @contextmanager
    def _rows(
        self, table: str, rows: Sequence[Sequence[Any]], columns: Sequence[str] = ()
    ) -> Iterator[tuple[str, list[str]]]:
        """Rows, typed as the columns of `table`, under a name for SQL: thousands cost one statement.

        Gives the name and the columns.
        """
        import pyarrow as pa  # only the commands that write many rows pay for it

        kinds = {name: kind for name, kind, *_ in self._db.execute(f"DESCRIBE {table}").fetchall()}
        names = list(columns) or list(kinds)
        arrow = {
            "VARCHAR": pa.string(),
            "BIGINT": pa.int64(),
            "INTEGER": pa.int32(),
            "DOUBLE": pa.float64(),
            "BOOLEAN": pa.bool_(),
            "DATE": pa.date32(),
            "TIMESTAMP": pa.timestamp("us"),
        }
        cells = zip(*rows, strict=True) if rows else ((),) * len(names)
        arrays = [pa.array(list(column), arrow[kinds[name]]) for name, column in zip(names, cells, strict=True)]
        self._db.register("given_rows", pa.table(arrays, names=names))
        try:
            yield "given_rows", names
        finally:
            self._db.unregister("given_rows")
