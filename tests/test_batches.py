"""Reading and costing done elsewhere: by two processes, by a Dask cluster. The result is that of one process."""

from collections.abc import Sequence
from datetime import date
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
        assert (ours.ref, ours.items, ours.roots) == (theirs.ref, theirs.items, theirs.roots)
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
