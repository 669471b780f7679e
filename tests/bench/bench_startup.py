"""Prints how long `viewworthy --help` and `show` take, beside `python -c "import duckdb"` and the bare query.

    python tests/bench/bench_startup.py [ROUNDS]

CPU seconds (user and system) of the fastest of ROUNDS rounds (15 unless told); the ways take turns, so that they share
the machine's moods. The goal is 1.5 times of importing DuckDB, for `show` the query beside it.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from pipeline.cli import app  # noqa: E402
from pipeline.shown import last_shown  # noqa: E402

START = "import sys; from pipeline.entry import main; sys.argv[0] = 'viewworthy'; main()"


def main(rounds: int = 15) -> None:
    """Makes the demonstration's search, then measures."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "demo"
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            app(["demo", "--into", str(folder)], standalone_mode=False)
        ways = {
            "python -c 'import duckdb'": ["-c", "import duckdb"],
            "viewworthy --help": ["-c", START, "--help"],
            "viewworthy show 7": ["-c", START, "show", "7", "--search", str(folder)],
        }
        best = dict.fromkeys(ways, float("inf"))
        query = float("inf")
        for _ in range(rounds):
            for name, arguments in ways.items():
                best[name] = min(best[name], cpu_seconds(arguments))
            started = time.process_time()
            if last_shown(folder, "7") is None:
                raise SystemExit("nothing is stored to show")
            query = min(query, time.process_time() - started)
    base = best["python -c 'import duckdb'"]
    for name, seconds in best.items():
        own = f", {(seconds - query) / base:.2f} times without the query" if "show" in name else ""
        print(f"{name:28} {seconds:6.3f} s  {seconds / base:5.2f} times the first{own}")
    print(f"{'the query of show':28} {query:6.3f} s")


def cpu_seconds(arguments: list[str]) -> float:
    """User and system time of one Python."""
    before = os.times()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, cwd=ROOT)
    after = os.times()
    return (after.children_user - before.children_user) + (after.children_system - before.children_system)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
