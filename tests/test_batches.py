"""Reading and costing done elsewhere: by two processes, by a Dask cluster. The result is that of one process."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.batches import Alone, Hands, ReadBatch, Text, cost_apart, read_apart, read_batch
from pipeline.costing import estimate
from pipeline.errors import StageError
from pipeline.keys import reading_version
from pipeline.nlp.advert import AdvertReader
from pipeline.parallel import Processes, hands_for
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.types import Buyer, Evidence, Reading, StatedValue

DAY = date(2026, 10, 31)
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
WORDS = (
    "1994 Marrick Dale camper, 2.4 diesel, manual, {n}8,000 miles, MOT to June 2027. £4,{n}00 ono.",
    "Sills welded in 2021, {n}2 thousand miles ago new clutch. No rust. Slight oil leak, head gasket done.",
    "Selling for my father. Starts first time \ud800, cambelt due. £{n},950",
)


def texts() -> list[Text]:
    stated = (StatedValue("asking_price", 4100, "column price"),)
    rows = [Text(n, WORDS[n % 3].format(n=n % 9 + 1), DAY, stated if n % 5 == 0 else ()) for n in range(120)]
    return [*rows, Text(500, "", DAY), Text(501, WORDS[1], DAY, (), "Marrick Dale 1996")]


def evidence(readings: dict[int, Reading]) -> list[Evidence]:
    return [
        Evidence(str(n), {f.key: f.value for f in reading.facts}, reading.claims, 28.0, 98000.0, DAY, 90)
        for n, reading in list(readings.items())[:3]
    ]


@pytest.fixture(scope="module")
def alone() -> dict[int, Reading]:
    return dict(read_apart(texts(), reading_version(), None, Alone()))


def same_costs(some: Sequence[Evidence], hands: Hands) -> None:
    knowledge = load_knowledge(("general",), data_folder("rules"))
    here, there = list(estimate(some, knowledge, BUYER)), list(cost_apart(some, knowledge, BUYER, hands))
    for ours, theirs in zip(here, there, strict=True):
        assert (ours.item_costs == theirs.item_costs).all()
        assert (ours.ref, *ours.items, ours.roots) == (theirs.ref, *theirs.items, theirs.roots)
        assert (ours.assumptions, ours.contradictions) == (theirs.assumptions, theirs.contradictions)


def test_batches_read_as_the_reader_does(alone: dict[int, Reading]) -> None:
    reader = AdvertReader(data_folder("rules"))
    assert list(alone) == [text.number for text in texts()]
    for text in texts()[::7]:
        expected = reader.read(text.text, text.saved_on, text.stated, text.title)
        assert alone[text.number].claims == expected.claims
        assert [(f.key, f.quote, f.origin) for f in alone[text.number].facts] == [
            (f.key, f.quote, f.origin) for f in expected.facts
        ]


def test_two_processes_give_what_one_gives(alone: dict[int, Reading]) -> None:
    hands = Processes(2)
    assert dict(read_apart(texts(), reading_version(), None, hands)) == alone
    same_costs(evidence(alone), hands)


def test_little_work_starts_no_processes() -> None:
    assert isinstance(hands_for(20), Alone)


WORKS = """
import os, sys, time
from pipeline.parallel import Processes

def work(what):
    print(os.getpid(), flush=True)
    os.kill(os.getpid(), 9) if what == "die" else time.sleep(what)

if __name__ == "__main__":
    try:
        list(Processes(2).each(work, [60, "die"] if sys.argv[1] == "die" else [60, 60]))
    except BaseException as error:
        print(f"{type(error).__name__}: {error}", flush=True)
"""


def started(tmp_path: Path, how: str) -> tuple[subprocess.Popen[str], list[int]]:
    """A program at work with two processes, and their numbers."""
    (tmp_path / "works.py").write_text(WORKS, encoding="utf-8")
    root = str(Path(__file__).parents[1])
    program = subprocess.Popen(
        [sys.executable, "works.py", how],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": root},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # a shell's background job ignores Ctrl-C
    )
    assert program.stdout is not None
    return program, [int(program.stdout.readline()) for _ in range(2)]


def all_end(numbers: list[int]) -> bool:
    for _ in range(100):
        if not any(Path(f"/proc/{number}/exe").exists() for number in numbers):
            return True
        time.sleep(0.1)
    return False


needs_proc = pytest.mark.skipif(not Path("/proc/self/exe").exists(), reason="reads /proc")


@needs_proc
def test_a_lost_process_is_told_in_a_sentence(tmp_path: Path) -> None:
    program, numbers = started(tmp_path, "die")
    said, _ = program.communicate(timeout=30)
    assert said.startswith("StageError: a process") and "Run it again" in said and said.count("\n") == 1
    assert all_end(numbers)


@needs_proc
def test_no_process_outlives_a_kill(tmp_path: Path) -> None:
    program, numbers = started(tmp_path, "wait")
    program.kill()
    assert all_end(numbers)
    program.communicate(timeout=30)


@needs_proc
def test_ctrl_c_ends_all_at_once_and_without_a_traceback(tmp_path: Path) -> None:
    program, numbers = started(tmp_path, "wait")
    os.killpg(program.pid, signal.SIGINT)
    said, _ = program.communicate(timeout=30)
    assert said == "KeyboardInterrupt: \n"
    assert all_end(numbers)


def test_a_worker_with_other_rules_refuses() -> None:
    with pytest.raises(StageError, match="other rules"):
        read_batch(ReadBatch((texts()[0],), "another version"))


@pytest.mark.slow
def test_a_cluster_of_two_processes_gives_what_one_gives(prefect_server: None, alone: dict[int, Any]) -> None:
    pytest.importorskip("prefect_dask", reason="the extra [cluster] is not installed")
    from pipeline.nightly import Cluster

    hands = Cluster(workers=2)
    assert dict(read_apart(texts(), reading_version(), None, hands)) == alone
    same_costs(evidence(alone), hands)
