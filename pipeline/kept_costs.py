"""Repair costs kept between runs in the search folder's `cache/`, a file a vehicle, by all that they rest on.

A file takes about 250 kB. The folder may be deleted at any time.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from sys import intern
from typing import NamedTuple

import numpy as np

from pipeline.itembeliefs import ItemBeliefs, parts_of
from pipeline.keys import evidence_key
from pipeline.shelf import Shelf, bytes_of, draws_of
from pipeline.types import Evidence, Reason, RepairEstimate, Sensitive

MOST = 2000  # vehicles kept on disk, about 400 MB; what is beyond is worked out at every run
HELD = 1000  # vehicles whose item costs stay in memory, about 250 MB; those of the rest lie on a shelf

Estimate = Callable[[Sequence[Evidence]], Iterable[RepairEstimate]]


class KeptCosts:
    """Looks up or works out the repair cost of each vehicle; `worked_out` counts those that were not kept."""

    def __init__(self, folder: Path, version: str, estimate: Estimate) -> None:
        self.folder, self.version, self.estimate = folder, version, estimate
        self.worked_out = 0
        self._used: set[str] = set()  # at most MOST keys
        self._given = 0
        self._shelf: Shelf | None = None

    def of(self, evidence: Sequence[Evidence]) -> Iterator[RepairEstimate]:
        """One estimate a vehicle, in order. May be asked again for others of the same run."""
        keys = [evidence_key(one, self.version) for one in evidence]
        there = {path.stem for path in self.folder.glob("*.npz")}
        fresh = iter(self.estimate([one for one, key in zip(evidence, keys, strict=True) if key not in there]))
        for key in keys:
            if len(self._used) < MOST:
                self._used.add(key)
        for one, key in zip(evidence, keys, strict=True):
            repair = self._read(key, one.ref) if key in there else None
            if repair is None:
                # A file that was there and cannot be read was torn by a crash.
                repair = next(iter(self.estimate([one]))) if key in there else next(fresh)
                self.worked_out += 1
                if key in self._used:
                    self._write(key, repair)
            if self._given >= HELD:
                with suppress(OSError):  # where the disk is full they stay in memory
                    self._shelf = self._shelf or Shelf(self.folder)
                    repair = replace(repair, drawn=self._shelf.put(repair.draws))
            self._given += 1
            yield repair

    def tidy(self) -> None:
        """Deletes the files that no vehicle asked for in this run uses."""
        if self.folder.is_dir():
            for path in self.folder.iterdir():
                if path.stem not in self._used and path.suffix in (".npz", ".part"):
                    path.unlink(missing_ok=True)

    def _read(self, key: str, ref: str) -> RepairEstimate | None:
        try:
            return unpacked((self.folder / f"{key}.npz").read_bytes(), ref)
        except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile, EOFError):
            return None

    def _write(self, key: str, repair: RepairEstimate) -> None:
        part = self.folder / f"{key}.part"
        with suppress(OSError):  # a full disk costs time at the next run, nothing else
            self.folder.mkdir(exist_ok=True)
            part.write_bytes(packed(repair))
            part.replace(self.folder / f"{key}.npz")


class Flat(NamedTuple):
    """An estimate as words and bytes, without the vehicle's number."""

    parts: str  # what the items have in common in all vehicles
    numbers: bytes
    admitted: bytes
    reasons: bytes
    rest: str
    draws: bytes


def flat(repair: RepairEstimate) -> Flat:
    """An estimate as words and bytes, for a file or another process."""
    items, draws = ItemBeliefs.of(repair.items), repair.draws
    rest = {
        "samples": draws.samples,
        "roots": {root: dict(states) for root, states in repair.roots.items()},
        "admitted": repair.admitted_mean,
        "unsaid": repair.unsaid_mean,
        "assumptions": _reasons(repair.assumptions),
        "contradictions": list(repair.contradictions),
        "cautions": _reasons(repair.cautions),
        "sensitive": [[s.what, s.rule, s.source, s.factor, s.low, s.high] for s in repair.sensitive],
    }
    return Flat(
        items.parts.as_json(),
        items.numbers.tobytes(),
        items.admitted.tobytes(),
        items.told,
        json.dumps(rest),
        bytes_of(draws),
    )


def raised(told: Flat, ref: str) -> RepairEstimate:
    """The estimate that was made flat, bit for bit, as that of vehicle `ref`."""
    parts, rest = parts_of(told.parts), json.loads(told.rest)
    count = len(parts.ids)
    numbers = np.frombuffer(told.numbers, np.float64).reshape(4, count)
    return RepairEstimate(
        ref=ref,
        items=ItemBeliefs(parts, numbers, np.frombuffer(told.admitted, bool), told.reasons),
        drawn=draws_of(told.draws, int(rest["samples"]), count),
        roots=rest["roots"],
        admitted_mean=rest["admitted"],
        unsaid_mean=rest["unsaid"],
        assumptions=_reasoned(rest["assumptions"]),
        contradictions=tuple(rest["contradictions"]),
        cautions=_reasoned(rest["cautions"]),
        # The same words come with many vehicles: they are kept once.
        sensitive=tuple(
            Sensitive(intern(what), intern(rule), intern(source), *numbers)
            for what, rule, source, *numbers in rest["sensitive"]
        ),
    )


def packed(repair: RepairEstimate) -> bytes:
    """An estimate as the bytes of a file, about 250 kB, without pickle."""
    file = io.BytesIO()
    cells = [cell.encode("ascii") if isinstance(cell, str) else cell for cell in flat(repair)]
    np.savez(file, *(np.frombuffer(cell, np.uint8) for cell in cells))
    return file.getvalue()


def unpacked(data: bytes, ref: str) -> RepairEstimate:
    """What `packed` packed, bit for bit, as the estimate of vehicle `ref`."""
    with np.load(io.BytesIO(data), allow_pickle=False) as file:
        parts, numbers, admitted, reasons, rest, draws = (file[f"arr_{n}"].tobytes() for n in range(len(Flat._fields)))
    return raised(Flat(parts.decode("ascii"), numbers, admitted, reasons, rest.decode("ascii"), draws), ref)


def _reasons(reasons: Sequence[Reason]) -> list[list[str]]:
    return [[r.text, r.rule, r.quote] for r in reasons]


def _reasoned(rows: Sequence[Sequence[str]]) -> tuple[Reason, ...]:
    return tuple(Reason(*map(intern, row)) for row in rows)
