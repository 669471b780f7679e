"""What `viewworthy note` does and prints."""

from __future__ import annotations

import json
import shutil
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from pipeline.errors import UsageError
from pipeline.intake import Progress
from pipeline.notes.compare import Change
from pipeline.notes.record import Given
from pipeline.notes.session import Told, everything, history, record, take_back
from pipeline.refs import find_vehicle
from pipeline.report.learnt import heading
from pipeline.report.table import plain
from pipeline.run import bring_up_to_date
from pipeline.search import Search, open_search
from pipeline.store import Store, open_store
from pipeline.types import Fate, Learnt


def learnt_at(word: str | None) -> Learnt | None:
    """Where something was learnt, from the command line's word. Raises UsageError."""
    known: tuple[Learnt, ...] = tuple(one for one in get_args(Learnt) if one != "reading")
    found = next((one for one in known if one == word), None)
    if word is not None and found is None:
        raise UsageError(f"--at {word}: not known", remedy=f"Use one of {', '.join(known)}.")
    return found


def fate_of(*, bought: bool, sold: bool, gone: bool) -> Fate:
    """Which of the three. Raises UsageError when it is several."""
    fates: dict[Fate, bool] = {"bought": bought, "sold": sold, "gone": gone}
    told = [fate for fate, said in fates.items() if said]
    if len(told) > 1:
        raise UsageError(f"--{' and --'.join(told)} cannot both be", remedy="Give one.")
    return told[0] if told else ""


def run_note(
    folder: Path, ref: str, given: Given, *, undo: bool, list_notes: bool, as_json: bool, progress: Progress
) -> str:
    """Records, takes back or lists; gives what is to be printed. Raises UsageError for what cannot be used."""
    if (undo or list_notes) and not given.empty:
        raise UsageError("--undo and --history go alone", remedy="Record in a command of its own.")
    search = open_search(folder)
    with open_store(folder, create=False) as store:
        if list_notes:
            return _history(store, search, ref, as_json, progress)
        told = take_back(store, search, ref, progress) if undo else record(store, search, ref, given, progress)
    return _json(told) if as_json else _text(told)


def _history(store: Store, search: Search, ref: str, as_json: bool, progress: Progress) -> str:
    view = bring_up_to_date(store, search, progress, remember=False, asked=[ref]).view
    vehicle = find_vehicle(everything(view), ref)
    notes = history(store, view, vehicle)
    if as_json:
        rows = [{"note": head, "lines": list(lines)} for head, lines in notes]
        return json.dumps({"ref": vehicle.ref, "notes": rows}, ensure_ascii=False, indent=1)
    if not notes:
        return f"{vehicle.ref}  {plain(vehicle.title)}\nNothing is recorded yet."
    parts = [f"{vehicle.ref}  {plain(vehicle.title)}"]
    for head, lines in notes:
        parts += [head, *(f"  {plain(line)}" for line in lines)]
    return "\n".join(parts)


def _json(told: Told) -> str:
    return json.dumps(
        {
            "ref": told.ref,
            "note": told.note.number,
            "undone": told.note.undone,
            "understood": list(told.understood),
            "changes": [{"what": c.what, "before": c.before, "after": c.after} for c in told.changes],
        },
        ensure_ascii=False,
        indent=1,
    )


def _text(told: Told) -> str:
    lines = [f"{told.ref}  {plain(told.title)}", heading(told.note), *(f"  {plain(line)}" for line in told.understood)]
    lines.append("")
    if told.changes:
        lines += table(told.changes, shutil.get_terminal_size((100, 40)).columns)
    else:
        lines.append("Nothing moved by it.")
    return "\n".join(lines)


def table(changes: Sequence[Change], width: int) -> list[str]:
    """A line a change, names in one column; what is too long for the width goes on in the next line."""
    names = max(len(c.what) for c in changes)
    lines: list[str] = []
    for c in changes:
        lines += textwrap.wrap(
            f"{c.what:<{names}}  {c.before} → {c.after}",
            max(width, names + 30),
            subsequent_indent=" " * (names + 4),
            drop_whitespace=False,
            break_on_hyphens=False,
        )
    return [line.rstrip() for line in lines]
