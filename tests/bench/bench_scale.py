"""Prints what a first run over pools of 1,000, 10,000, … adverts costs, a stage a line, and how it grows.

    python tests/bench/bench_scale.py [ADVERTS …]           default 1000 10000; 1000000: an hour, 4 GB on the disk
    python tests/bench/bench_scale.py --processes [ADVERTS] reading and costing by one process and by two

Seconds of processor time, helpers' counted in, so that the machine's other work does not blur the table; the greatest
memory of the process in MiB (the largest helper's beside it); and the exponent of growth from one size to the next: 1
is proportional. Each size runs in a process of its own.
"""

from __future__ import annotations

import json
import math
import os
import platform
import resource
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TypeVar

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy is imported
ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).resolve().parent)]

import pool  # noqa: E402

from pipeline import record  # noqa: E402
from pipeline.batches import Alone, Text, cost_apart, read_apart  # noqa: E402
from pipeline.ingest import gather  # noqa: E402
from pipeline.intake import add  # noqa: E402
from pipeline.keys import reading_version  # noqa: E402
from pipeline.parallel import Processes  # noqa: E402
from pipeline.paths import data_folder  # noqa: E402
from pipeline.report import pages  # noqa: E402
from pipeline.run import bring_up_to_date  # noqa: E402
from pipeline.schemas.knowledge import load_knowledge  # noqa: E402
from pipeline.search import open_search, start_search  # noqa: E402
from pipeline.store import open_store  # noqa: E402
from pipeline.types import Evidence  # noqa: E402

DAY = date(2026, 10, 31)
T = TypeVar("T")


def cpu() -> float:
    """User and system seconds of this process and of the helpers that have ended."""
    return sum(os.times()[:4])


class Helpers(threading.Thread):
    """Looks once a second how much memory the largest process begun by this one has held (Linux).

    What the system reports of ended processes (`ru_maxrss`) counts in what their parent held when it began them.
    """

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.most = 0.0  # MiB

    def run(self) -> None:
        """Until the process ends."""
        while True:
            for path in Path("/proc/self/task").glob("*/children"):
                for child in path.read_text().split():
                    with suppress(OSError, StopIteration):
                        lines = Path(f"/proc/{child}/status").read_text().splitlines()
                        held = next(line for line in lines if line.startswith("VmHWM"))
                        self.most = max(self.most, int(held.split()[1]) / 1024)
            time.sleep(1)


def one_size(count: int) -> dict[str, float]:
    """Seconds a stage, and MiB, of a first run."""
    record.clock, helpers, begun = cpu, Helpers(), time.perf_counter()
    helpers.start()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "search"
        start_search(folder, home="Hexham", budget=7000, packs=("general",))
        with (folder / "buyer.toml").open("a", encoding="utf-8") as file:
            file.write(f'\n[as_of]\ndate = "{DAY}"\n')
        search = open_search(folder)
        pool.write(search.inbox, count)
        started = cpu()
        with open_store(folder) as store:
            added = add(store, gather([search.inbox]), DAY)
        taken = {"ingest": cpu() - started}
        with open_store(folder) as store:
            result = bring_up_to_date(store, search)
        taken |= result.record.seconds
        started = cpu()
        for name, text in pages(result.view).items():
            (search.reports / name).write_text(text, encoding="utf-8")
        taken["page"] = cpu() - started
        taken["adverts"], taken["vehicles"] = added.adverts, len(result.view.vehicles)
        taken["disk MiB"] = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) / 2**20
    taken["peak MiB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    taken["helpers MiB"] = helpers.most
    taken["by the clock"] = time.perf_counter() - begun
    return taken


def table(counts: list[int]) -> None:
    """All sizes side by side."""
    print(
        f"{platform.machine()}, Python {platform.python_version()}, {len(os.sched_getaffinity(0))} processors",
        flush=True,
    )
    found = []
    for count in counts:
        done = subprocess.run(
            [sys.executable, __file__, "--size", str(count)], check=True, stdout=subprocess.PIPE, text=True
        )
        found.append(json.loads(done.stdout.splitlines()[-1]))
        print(f"{count:,} adverts done", file=sys.stderr, flush=True)
    print(f"{'':12}" + "".join(f"{count:>12,}" for count in counts) + f"{'exponent':>12}")
    for name in found[0]:
        numbers = [row.get(name, 0.0) for row in found]
        growth = ""
        if len(counts) > 1 and numbers[-2] > 0 and numbers[-1] > 0:
            growth = f"{math.log(numbers[-1] / numbers[-2]) / math.log(counts[-1] / counts[-2]):12.2f}"
        print(f"{name:12}" + "".join(f"{number:12,.1f}" for number in numbers) + growth)


def processes(count: int) -> None:
    """Reading and costing by one process and by two, start counted in; reading, being quick, of four times as many."""
    texts = [Text(n, row["text"], DAY) for n, row in enumerate(pool.adverts(4 * count))]
    version = reading_version()
    buyer_folder = Path(tempfile.mkdtemp()) / "search"
    start_search(buyer_folder, home="Hexham", budget=7000)
    buyer = open_search(buyer_folder).buyer
    knowledge = load_knowledge(buyer.packs, data_folder("rules"))
    wall: dict[str, list[float]] = {}
    worked: dict[str, list[float]] = {}

    def clocked(what: str, stage: Callable[[], T]) -> T:
        started, before = time.perf_counter(), cpu()
        done = stage()
        wall.setdefault(what, []).append(time.perf_counter() - started)
        worked.setdefault(what, []).append(cpu() - before)
        return done

    for hands in (Alone(), Processes(2)):
        readings = clocked("reading", lambda hands=hands: dict(read_apart(texts, version, None, hands)))
        evidence = [
            Evidence(str(n), {f.key: f.value for f in reading.facts}, reading.claims, 28.0, 98000.0, DAY, 90)
            for n, reading in list(readings.items())[:count]
        ]
        costed = clocked(
            "costing", lambda hands=hands, some=evidence: sum(1 for _ in cost_apart(some, knowledge, buyer, hands))
        )
        assert (len(readings), costed) == (4 * count, count)
    for name, many in (("reading", 4 * count), ("costing", count)):
        (one, two), (alone, together) = wall[name], worked[name]
        print(
            f"{name}: {many:,} adverts, one process {one:.1f} s, two {two:.1f} s: {one / two:.2f} times as fast; "
            f"processor time {alone:.1f} and {together:.1f} s"
        )


def main(arguments: list[str]) -> None:
    """See above."""
    if arguments[:1] == ["--size"]:
        print(json.dumps(one_size(int(arguments[1]))))
    elif arguments[:1] == ["--processes"]:
        processes(int(arguments[1]) if arguments[1:] else 1500)
    else:
        table([int(word) for word in arguments] or [1000, 10000])


if __name__ == "__main__":
    main(sys.argv[1:])
