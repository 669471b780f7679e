"""Each run, the newest ranking, and what the last digest was told from."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from pipeline.store.ranking import Row, Source, inputs, rows
from pipeline.store.tables import Tables

__all__ = ["Row", "RunRecord", "Runs", "Source"]

TOGETHER = 1000  # rows written at once
RUNS_KEPT = 400  # a year of nights and some days; older records go


@dataclass(frozen=True, slots=True)
class RunRecord:
    """When a run was, by which command, what it rested on, what it counted, seconds a stage."""

    number: int
    as_of: date
    started: datetime
    command: str
    versions: Mapping[str, str]
    counts: Mapping[str, int]
    seconds: Mapping[str, float]


class Runs(Tables):
    """Tables `runs`, `results` and `told`."""

    def inputs(self) -> str:
        """What the store holds, apart from what runs make of it: the same when nothing came in."""
        return inputs(self._db)

    def keep_run(
        self,
        as_of: date,
        versions: Mapping[str, str],
        counts: Mapping[str, int],
        ranking: Iterable[Row],
        *,
        inputs: str = "",
        seconds: Mapping[str, float] | None = None,
        command: str = "",
    ) -> int:
        """One run's ranking, best first. Only the newest ranking is kept; of older runs, when and what they counted.

        `ranking` may make its rows as they are asked for; `seconds` is looked at when all are stored.
        """
        with self.transaction():
            run_id = int(self._one("SELECT coalesce(max(run_id), 0) + 1 FROM runs"))
            self._db.execute("DELETE FROM results")
            places = enumerate(ranking)
            while some := list(itertools.islice(places, TOGETHER)):
                self._append(
                    "results",
                    [
                        (run_id, place, row.ref, row.verdict, row.visit_worth, row.asking_price, row.result,
                         json.dumps([row.title, row.texts]), row.lines, row.apart)
                        for place, row in some
                    ],
                    ("run_id", "place", "ref", "verdict", "visit_worth", "asking_price", "result", "names", "lines",
                     "apart"),
                )  # fmt: skip
            self._db.execute(
                "INSERT INTO runs (run_id, as_of, started, versions, counts, inputs, seconds, command) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                [run_id, as_of, datetime.now(), json.dumps(dict(versions)), json.dumps(dict(counts)), inputs,
                 json.dumps(dict(seconds or {})), command],
            )  # fmt: skip
            self._db.execute("DELETE FROM runs WHERE run_id <= ?", [run_id - RUNS_KEPT])
        return run_id

    def last_results(self) -> list[dict[str, Any]]:
        """The newest ranking, best first; empty before the first run."""
        rows = self._db.execute("SELECT result FROM results WHERE NOT apart ORDER BY place").fetchall()
        return [json.loads(row[0]) for row in rows]

    def last_standing(self) -> list[tuple[str, str, float | None]]:
        """Number, verdict and asking price of each vehicle of the newest ranking, best first."""
        return self._db.execute(
            "SELECT ref, verdict, asking_price FROM results WHERE NOT apart ORDER BY place"
        ).fetchall()

    def last_inputs(self) -> str:
        """On what the newest ranking rests; empty before the first run."""
        return str(self._one("SELECT inputs FROM runs ORDER BY run_id DESC LIMIT 1") or "")

    def rows(self, ref: str | None = None) -> list[Row]:
        """The newest ranking, best first, and what stands apart from it; lines and JSON only with `ref`."""
        return rows(self._db, ref)

    def last_runs(self, count: int = 10) -> list[RunRecord]:
        """The newest runs, newest first."""
        rows = self._db.execute(
            "SELECT run_id, as_of, started, command, versions, counts, seconds FROM runs ORDER BY run_id DESC LIMIT ?",
            [count],
        ).fetchall()
        return [RunRecord(*row[:4], *(json.loads(cell) for cell in row[4:])) for row in rows]

    def told(self, name: str) -> Any:
        """What was kept under this name by `keep_told`, None when nothing was."""
        found = self._one("SELECT what FROM told WHERE name = ?", [name])
        return None if found is None else json.loads(found)

    def keep_told(self, name: str, as_of: date, what: Any) -> None:
        """Remembers what somebody was told, so that the next telling says what changed since. Replaces the last."""
        with self.transaction():
            self._db.execute("DELETE FROM told WHERE name = ?", [name])
            self._db.execute("INSERT INTO told VALUES (?, ?, ?)", [name, as_of, json.dumps(what, ensure_ascii=False)])
