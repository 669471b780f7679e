"""What `viewworthy advise` costs: a pool of adverts, and more and more members. Prints a table.

Usage: python tests/bench/bench_advise.py [VEHICLES] [MEMBERS ...]   (default 500 and 10 50)
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.advise.command import advise
from pipeline.intake import add, quiet
from pipeline.paths import data_folder
from pipeline.search import Search, open_search, start_search
from pipeline.store import open_store
from pipeline.types import SourceFile

HOMES = ("Skipton", "Leeds", "Carlisle", "York", "Hexham", "Stroud", "Exeter", "Norwich", "Cardiff", "Perth")
PURPOSES = ("everyday", "working", "project", "original")


def pool(folder: Path, count: int) -> Search:
    """A search of so many different adverts, from the corpus; prices are given so that all can be valued."""
    start_search(folder, home="Skipton", budget=7000, guide_price=4500, packs=("general", "light-camper-van"))
    text = (folder / "buyer.toml").read_text(encoding="utf-8")
    (folder / "buyer.toml").write_text(text + '\n[as_of]\ndate = "2026-10-31"\n', encoding="utf-8")
    lines = [
        json.loads(line)
        for path in sorted((data_folder("models") / "claim_status" / "corpus").glob("*.jsonl"))
        for line in path.read_text(encoding="utf-8").splitlines()
    ]
    rows = []
    for n in range(count):
        line = lines[n % len(lines)]
        row = {"id": f"a{n}", "text": line["text"], "price": 1500 + 37 * (n % 150), "place": HOMES[n % 10]}
        if n >= len(lines):  # told apart, or it would be the same vehicle again
            row["text"] = " ".join(reversed(row["text"].split(". "))) + f" Lot {n}."
        rows.append(json.dumps(row))
    data = "\n".join(rows).encode("utf-8")
    with open_store(folder) as store:
        add(store, [SourceFile("pool.jsonl", data, "0" * 64)], open_search(folder).as_of)
    return open_search(folder)


def members(folder: Path, count: int) -> Path:
    """So many members with different homes, purposes and budgets."""
    folder.mkdir()
    for n in range(count):
        (folder / f"member-{n:02d}.toml").write_text(
            f'[member]\nname = "Member {n}"\n[buyer]\nhome = "{HOMES[n % 10]}"\npurpose = "{PURPOSES[n % 4]}"\n'
            f"budget_total = {2000 + 150 * n}\nlabour_rate = {50 + n % 7 * 5}\n"
            f"does_own_work = {str(n % 3 == 0).lower()}\n",
            encoding="utf-8",
        )
    return folder


def measure(vehicles: int, counts: list[int]) -> list[tuple[int, float, float]]:
    """(members, seconds on the clock, seconds of processor) for each count, the first of them with all the reading."""
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        search = pool(folder / "pool", vehicles)
        for count in counts:
            who = members(folder / f"members-{len(rows)}", count)
            clock, processor = time.monotonic(), time.process_time()
            with open_store(search.folder, create=False) as store:
                given = advise(store, search, who, folder / "out", contacts=False, progress=quiet)
            assert len(given.view.members) == count
            rows.append((count, time.monotonic() - clock, time.process_time() - processor))
            print(f"{vehicles:>9} {rows[-1][0]:>8} {rows[-1][1]:>8.1f} {rows[-1][2]:>10.1f}", flush=True)
    return rows


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    print(f"{'vehicles':>9} {'members':>8} {'seconds':>8} {'processor':>10}")
    measure(numbers[0] if numbers else 500, numbers[1:] or [1, 10, 50])
