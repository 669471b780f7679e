"""Every table as a file that other programs read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Literal

from pipeline.store.tables import Tables


class Export(Tables):
    """No tables of its own."""

    def tables(self) -> list[str]:
        """The names of all tables, in the order in which migrations made them."""
        names = "SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY table_oid"
        rows = self._db.execute(names).fetchall()
        return [row[0] for row in rows]

    def values_of(self, keys: Sequence[str]) -> list[str]:
        """Every value that a fact of these keys has anywhere, and the words it was read from."""
        rows = self._db.execute(
            "SELECT DISTINCT unnest([value, quote]) FROM facts WHERE list_contains(?, key)", [list(keys)]
        ).fetchall()
        return [str(row[0]).strip('"') for row in rows]

    def export(
        self, target: Path, kind: Literal["parquet", "csv", "jsonl"], change: Callable[[str], str] | None = None
    ) -> list[Path]:
        """Every table as one file in `target`. CSV cells that a spreadsheet would run get a leading apostrophe.

        `change`: what becomes of every text cell, to leave out what is not for others.
        """
        import pandas as pd

        target.mkdir(parents=True, exist_ok=True)
        written = []
        for table in self.tables():
            frame: pd.DataFrame = self._db.execute(f"SELECT * FROM {table}").df()
            if change is not None:
                frame = frame.map(lambda cell: change(cell) if isinstance(cell, str) else cell)
            path = target / f"{table}.{kind}"
            if kind == "parquet":
                frame.to_parquet(path, index=False)
            elif kind == "csv":
                frame.map(_inert).to_csv(path, index=False)
            else:
                frame.to_json(path, orient="records", lines=True, date_format="iso", force_ascii=False)
            written.append(path)
        return written


def _inert(cell: Any) -> Any:
    """A text cell that no spreadsheet takes for a formula."""
    if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"):
        return "'" + cell
    return cell
