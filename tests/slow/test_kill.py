"""The program ended by SIGKILL at 200 random moments of add, rank and migration: no acknowledged advert is lost, none
is doubled, and the next run finishes the work.

Each victim is a forked process with everything imported, so that the moments fall into the work and not into imports.
"""

import json
import os
import random
import signal
import sys
import time
import traceback
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

import pipeline.ingest
from pipeline.doctor import examine
from pipeline.ingest import gather
from pipeline.ingest.text import read_text
from pipeline.intake import add
from pipeline.store import DATABASE, open_store
from pipeline.store.migrations import MIGRATIONS

sys.path.insert(0, str(Path(__file__).parents[1] / "store"))
from make_samples import RAW, RAW_SHA, sample

pytestmark = [pytest.mark.slow, pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")]
DAY = date(2026, 10, 1)
ADDS, RANKS, MIGRATED = 110, 50, 40
FILES = 6  # a round


def forked(work: Callable[[], None], kill_after: float | None = None) -> bool:
    """Runs `work` in a process of its own; True when it came to its end, False when it was killed before."""
    pid = os.fork()
    if pid == 0:
        try:
            work()
        except BaseException:
            traceback.print_exc()
            os._exit(9)
        os._exit(0)
    if kill_after is not None:
        time.sleep(kill_after)
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    assert not (os.WIFEXITED(status) and os.WEXITSTATUS(status)), "it failed by itself"
    return os.WIFEXITED(status)


def length(work: Callable[[], None]) -> float:
    began = time.monotonic()
    assert forked(work)
    return time.monotonic() - began


def checked(folder: Path, work: Callable[[], object]) -> None:
    """In a process of its own: what `work` finds wrong ends it with a word."""

    def run() -> None:
        work()
        troubles = [line for line in examine(folder).troubles if ".part was left" not in line]
        assert troubles == [], troubles

    assert forked(run)


def test_add(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline.ingest, "read_source", read_text)
    rng, told = random.Random(1), tmp_path / "told"
    inbox = tmp_path / "s" / "inbox"
    inbox.mkdir(parents=True)
    told.touch()

    def take() -> None:
        with open_store(tmp_path / "s") as store:
            add(store, gather([inbox]), DAY)
        with told.open("a") as handle:  # the acknowledgement: what lies in the inbox now is in
            handle.write(json.dumps(sorted(path.name for path in inbox.iterdir())) + "\n")

    def fresh(n: int) -> None:
        for old in list(inbox.iterdir())[2:]:
            old.unlink()
        for k in range(FILES):
            (inbox / f"{n:03}-{k}.txt").write_text(f"van {n} {k}, £{1000 + 10 * n + k}. " + "words " * 200)

    fresh(900)
    usual = length(take)
    fresh(901)
    usual = min(usual, length(take))  # the first may have met a busy machine
    killed = 0
    for n in range(ADDS):
        fresh(n)
        killed += not forked(take, rng.uniform(0, 1.1 * usual))
        acknowledged = {name for line in told.read_text().splitlines() for name in json.loads(line)}

        def all_there(acknowledged: set[str] = acknowledged) -> None:
            with open_store(tmp_path / "s") as store:
                texts = [snapshot.advert.text for snapshot in store.snapshots()]
                assert acknowledged <= set(store.advert_numbers()), "an acknowledged advert is lost"
                assert len(texts) == len(set(texts)) == len(store.advert_numbers()), "an advert is doubled"
                add(store, gather([inbox]), DAY)
                assert {path.name for path in inbox.iterdir()} <= set(store.advert_numbers()), "work left undone"

        checked(tmp_path / "s", all_there)
    print(f"{killed} of {ADDS} were killed in the act, an add takes {usual:.2f} s")
    assert killed > ADDS / 3


def test_rank(tmp_path: Path) -> None:
    from pipeline.run import bring_up_to_date
    from pipeline.search import open_search, start_search

    folder = tmp_path / "s"
    start_search(folder, home="Skipton", budget=7000, guide_price=5500)
    rng = random.Random(2)

    def rank() -> None:
        with open_store(folder) as store:
            bring_up_to_date(store, open_search(folder))

    def put(n: int) -> None:
        (folder / "inbox" / f"van-{n}.txt").write_text(
            f"199{n % 10} Marrick Dale camper, 2.4 diesel, {60 + n},000 miles, MOT to June 2027. £{4000 + n}. Hexham."
        )

    def start() -> None:
        with open_store(folder) as store:
            add(store, gather([folder / "inbox"]), DAY)

    for n in range(4):
        put(n)
    assert forked(start)
    length(rank)  # imports and first reading
    usual = length(rank)
    killed = 0
    for n in range(4, RANKS + 4):
        if n % 5 == 0:
            put(n)
            assert forked(start)
        killed += not forked(rank, rng.uniform(0, 1.1 * usual))

        def whole(finish: bool = n % 10 == 9) -> None:
            with open_store(folder) as store:
                results, counts = store.last_results(), store.counts()
                assert len(results) == len({row["ref"] for row in results}), "a vehicle is ranked twice"
                assert counts["readings"] <= counts["snapshots"]
                if finish:
                    bring_up_to_date(store, open_search(folder))
                    assert len(store.last_results()) == len(set(store.refs().values()))

        checked(folder, whole)
    print(f"{killed} of {RANKS} were killed in the act, a rank takes {usual:.2f} s")
    assert killed > RANKS / 3


def test_migration(tmp_path: Path) -> None:
    rng = random.Random(3)

    def prepared(n: int) -> Path:
        folder = tmp_path / str(n)
        raw = folder / "raw" / RAW_SHA[:2] / RAW_SHA
        raw.parent.mkdir(parents=True)
        raw.write_bytes(RAW)
        sample(1, folder / DATABASE)
        return folder

    def migrate(folder: Path) -> Callable[[], None]:
        def run() -> None:
            with open_store(folder):
                pass

        return run

    usual = length(migrate(prepared(900)))
    killed = 0
    for n in range(MIGRATED):
        folder = prepared(n)
        killed += not forked(migrate(folder), rng.uniform(0, 1.1 * usual))

        def whole(folder: Path = folder) -> None:
            with open_store(folder) as store:
                assert store.schema() == len(MIGRATIONS) == store.counts()["migrations"]
                assert len(store.snapshots()) == 2 and len(store.journalled()) == 1

        checked(folder, whole)
    print(f"{killed} of {MIGRATED} were killed in the act, a migration takes {usual:.2f} s")
    assert killed > MIGRATED / 4
