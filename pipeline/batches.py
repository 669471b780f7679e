"""Reading and costing cut into batches that need no database: text or evidence in, an Arrow table out.

The same functions run in this process, in processes of this machine (`parallel.py`) and on a cluster (`nightly.py`).
Whoever runs them gives back tables in the order of the batches; only the process that asked writes to the database.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol
from uuid import uuid4

from pipeline.errors import StageError
from pipeline.kept_costs import Flat, flat, raised
from pipeline.keys import reading_version
from pipeline.paths import data_folder
from pipeline.types import Buyer, Claim, Evidence, Fact, Reading, RepairEstimate, StatedValue

if TYPE_CHECKING:
    import pyarrow as pa

    from pipeline.costing import Engine
    from pipeline.nlp.advert import AdvertReader
    from pipeline.schemas.knowledge_parts import Knowledge

TEXTS, VEHICLES = 100, 64  # a batch
BYTES = ("numbers", "admitted", "reasons", "draws")  # of a flat estimate


class Text(NamedTuple):
    """One advert to read."""

    number: int
    text: str
    saved_on: date
    stated: tuple[StatedValue, ...] = ()
    title: str | None = None


class Hands(Protocol):
    """Whoever does the work: gives the results of `work` on each batch, in the order of the batches."""

    def each(self, work: Callable[[Any], pa.Table], batches: Sequence[Any]) -> Iterator[pa.Table]: ...


class Alone:
    """This process."""

    def each(self, work: Callable[[Any], pa.Table], batches: Sequence[Any]) -> Iterator[pa.Table]:
        """One batch after the other."""
        yield from map(work, batches)


# ---- reading --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ReadBatch:
    texts: tuple[Text, ...]
    version: str
    rules: str | None = None  # a rules folder on this machine, None: the installed one


def read_batch(batch: ReadBatch) -> pa.Table:
    """Readings as a table: number of the advert, what the row is, its cells as JSON.

    Raises StageError when this worker's rules and models are not those of the process that asked.
    """
    import pyarrow as pa

    from pipeline.nlp.advert import Advert

    reader = reader_of(batch.rules, batch.version)
    numbers, kinds, cells = [], [], []
    adverts = (Advert(text.text, text.saved_on, text.stated, text.title) for text in batch.texts)
    for text, reading in zip(batch.texts, reader.read_all(adverts), strict=True):
        rows = [("read", None), *(("fact", f) for f in reading.facts), *(("rival", f) for f in reading.rivals)]
        for kind, row in (*rows, *(("claim", c) for c in reading.claims)):
            numbers.append(text.number)
            kinds.append(kind)
            cells.append(json.dumps(None if row is None else [getattr(row, name) for name in row.__slots__]))
    return pa.table({"number": pa.array(numbers, pa.int64()), "kind": kinds, "cells": cells})


@lru_cache(maxsize=2)
def reader_of(rules: str | None, version: str) -> AdvertReader:
    """One reader for all batches and searches of a process: making it takes longer than reading a hundred adverts."""
    from pipeline.nlp.advert import AdvertReader

    folder = data_folder("rules") if rules is None else Path(rules)
    if reading_version(folder) != version:
        raise StageError("a worker has other rules or models", remedy="Install the same viewworthy everywhere.")
    return AdvertReader.to_stay(folder)


def read_apart(texts: Sequence[Text], version: str, rules: Path | None, hands: Hands) -> Iterator[tuple[int, Reading]]:
    """Number and reading of each text, in order."""
    folder = None if rules is None else str(rules)
    batches = [ReadBatch(tuple(texts[start : start + TEXTS]), version, folder) for start in range(0, len(texts), TEXTS)]
    for table in hands.each(read_batch, batches):
        found: dict[int, tuple[list[Fact], list[Fact], list[Claim]]] = {}
        for number, kind, cells in zip(*(table[name].to_pylist() for name in ("number", "kind", "cells")), strict=True):
            facts, rivals, claims = found.setdefault(number, ([], [], []))
            if kind == "claim":
                claims.append(Claim(*json.loads(cells)))
            elif kind != "read":
                (facts if kind == "fact" else rivals).append(Fact(*json.loads(cells)))
        for number, (facts, rivals, claims) in found.items():
            yield number, Reading(tuple(facts), tuple(claims), tuple(rivals))


# ---- costing ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CostBatch:
    evidence: tuple[Evidence, ...]
    knowledge: Knowledge
    buyer: Buyer
    together: str = ""  # batches of the same name rest on the same knowledge and buyer


_engines: dict[str, Engine] = {}  # the last one: making it takes as long as costing forty vehicles


def cost_batch(batch: CostBatch) -> pa.Table:
    """Estimates as a table: the vehicle's number, its estimate made flat; what all have in common in the metadata."""
    import pyarrow as pa

    from pipeline.costing import Engine

    if batch.together not in _engines:
        _engines.clear()
        _engines[batch.together] = Engine(batch.knowledge, batch.buyer)
    done = [(repair.ref, flat(repair)) for repair in _engines[batch.together].estimate(batch.evidence)]
    table = pa.table(
        {
            "ref": pa.array([ref for ref, _ in done], pa.string()),
            **{name: pa.array([getattr(one, name) for _, one in done], pa.binary()) for name in BYTES},
            "rest": pa.array([one.rest for _, one in done], pa.string()),
        }
    )
    return table.replace_schema_metadata({"parts": next((one.parts for _, one in done), "")})


def cost_apart(
    evidence: Sequence[Evidence], knowledge: Knowledge, buyer: Buyer, hands: Hands
) -> Iterator[RepairEstimate]:
    """One estimate a vehicle, in order: the same as `costing.estimate` gives."""
    together = uuid4().hex
    batches = [
        CostBatch(tuple(evidence[start : start + VEHICLES]), knowledge, buyer, together)
        for start in range(0, len(evidence), VEHICLES)
    ]
    for table in hands.each(cost_batch, batches):
        told = (table.schema.metadata or {})[b"parts"].decode()
        for row in table.to_pylist():
            yield raised(Flat(told, *(row[name] for name in Flat._fields[1:])), row["ref"])
