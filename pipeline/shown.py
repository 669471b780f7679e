"""What `show` needs of the last run, without waiting for the libraries that a run needs."""

from __future__ import annotations

import json
import shutil
import tomllib
from datetime import date
from pathlib import Path

from pipeline.keys import run_key
from pipeline.paths import data_folder
from pipeline.store.ranking import NothingToShow, Row, glance
from pipeline.wrap import wrapped


def last_shown(folder: Path, ref: str) -> Row | None:
    """A vehicle as the last run left it; None when there was none or anything has changed since.

    Raises UsageError when `ref` fits no vehicle or several.
    """
    from pipeline.refs import find_vehicle

    day = _day(folder)
    if day is None:
        return None
    try:
        with glance(folder) as last:
            if not last.holds(run_key(folder, data_folder("rules"), day, last.inputs())):
                return None
            return last.rows(find_vehicle(last.rows(), ref).ref)[0]
    except NothingToShow:
        return None  # the run says so or brings it up to date


def answer(folder: Path, ref: str, as_json: bool) -> str | None:
    """What `show` prints of a vehicle, from the last run; None when that does not hold any more."""
    row = last_shown(folder, ref)
    if row is None:
        return None
    if as_json:
        return json.dumps(json.loads(row.result), ensure_ascii=False, indent=1) + "\n"
    return wrapped(row.lines.split("\n"), shutil.get_terminal_size((100, 40)).columns) + "\n"


def _day(folder: Path) -> str | None:
    """The day that runs work as if on; None when buyer.toml cannot be read, which the run reports."""
    try:
        told = tomllib.loads((folder / "buyer.toml").read_text(encoding="utf-8"))
        day = told["as_of"]["date"] if "as_of" in told else date.today()
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return str(day)
