"""Repair costs kept between runs in the search folder's `cache/`, a file a vehicle, by all that they rest on.

A file takes about 200 kB. The folder may be deleted at any time.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.keys import evidence_key
from pipeline.types import Draws, Evidence, ItemBelief, Reason, RepairEstimate, Sensitive

MOST = 2000  # vehicles kept on disk, about 400 MB; what is beyond is worked out at every run
ITEM = tuple(field.name for field in fields(ItemBelief))

Estimate = Callable[[Sequence[Evidence]], Iterable[RepairEstimate]]


class KeptCosts:
    """Looks up or works out the repair cost of each vehicle; `worked_out` counts those that were not kept."""

    def __init__(self, folder: Path, version: str, estimate: Estimate, *, tidy: bool = True) -> None:
        """`tidy`: files that no vehicle of a run uses are deleted at its end."""
        self.folder, self.version, self.estimate, self.tidy = folder, version, estimate, tidy
        self.worked_out = 0

    def of(self, evidence: Sequence[Evidence]) -> Iterator[RepairEstimate]:
        """One estimate a vehicle, in order."""
        keys = [evidence_key(one, self.version) for one in evidence]
        there = {path.stem for path in self.folder.glob("*.npz")}
        fresh = iter(self.estimate([one for one, key in zip(evidence, keys, strict=True) if key not in there]))
        used = dict.fromkeys(keys[:MOST])
        for one, key in zip(evidence, keys, strict=True):
            repair = self._read(key, one.ref) if key in there else None
            if repair is None:
                # A file that was there and cannot be read was torn by a crash.
                repair = next(iter(self.estimate([one]))) if key in there else next(fresh)
                self.worked_out += 1
                if key in used:
                    self._write(key, repair)
            yield repair
        if self.tidy and self.folder.is_dir():
            for path in self.folder.iterdir():
                if path.stem not in used and path.suffix in (".npz", ".part"):
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


def packed(repair: RepairEstimate) -> bytes:
    """An estimate as bytes, about 200 kB: arrays without pickle, the rest as JSON. The vehicle's number is left out."""
    drawn = repair.drawn if isinstance(repair.drawn, Draws) else Draws.of(repair.drawn)
    told = np.frombuffer(json.dumps(_told(repair, drawn)).encode("ascii"), dtype=np.uint8)
    file = io.BytesIO()
    np.savez(file, told=told, counts=drawn.counts, rows=drawn.rows, amounts=drawn.amounts)
    return file.getvalue()


def unpacked(data: bytes, ref: str) -> RepairEstimate:
    """What `packed` packed, bit for bit, as the estimate of vehicle `ref`."""
    with np.load(io.BytesIO(data), allow_pickle=False) as file:
        told = json.loads(file["told"].tobytes())
        drawn = Draws(int(told["samples"]), file["counts"], file["rows"], file["amounts"])
    return _estimate(told, drawn, ref)


def _told(repair: RepairEstimate, drawn: Draws) -> dict[str, Any]:
    rest = [name for name in ITEM if name != "reasons"]
    return {
        "samples": drawn.samples,
        "items": [[getattr(item, name) for name in rest] for item in repair.items],
        "reasons": [_reasons(item.reasons) for item in repair.items],
        "roots": {root: dict(states) for root, states in repair.roots.items()},
        "admitted": repair.admitted_mean,
        "unsaid": repair.unsaid_mean,
        "assumptions": _reasons(repair.assumptions),
        "contradictions": list(repair.contradictions),
        "cautions": _reasons(repair.cautions),
        "sensitive": [[s.what, s.rule, s.source, s.factor, s.low, s.high] for s in repair.sensitive],
    }


def _estimate(told: dict[str, Any], drawn: Draws, ref: str) -> RepairEstimate:
    rest = [name for name in ITEM if name != "reasons"]
    items = []
    for row, reasons in zip(told["items"], told["reasons"], strict=True):
        cells: dict[str, Any] = {
            name: tuple(cell) if isinstance(cell, list) else cell for name, cell in zip(rest, row, strict=True)
        }
        items.append(ItemBelief(**cells, reasons=_reasoned(reasons)))
    return RepairEstimate(
        ref=ref,
        items=tuple(items),
        drawn=drawn,
        roots=told["roots"],
        admitted_mean=told["admitted"],
        unsaid_mean=told["unsaid"],
        assumptions=_reasoned(told["assumptions"]),
        contradictions=tuple(told["contradictions"]),
        cautions=_reasoned(told["cautions"]),
        sensitive=tuple(Sensitive(*row) for row in told["sensitive"]),
    )


def _reasons(reasons: Sequence[Reason]) -> list[list[str]]:
    return [[r.text, r.rule, r.quote] for r in reasons]


def _reasoned(rows: Sequence[Sequence[str]]) -> tuple[Reason, ...]:
    return tuple(Reason(*row) for row in rows)
