"""One night of one search: what is new is taken in, everything is ranked again, page and digest are written.

Plain functions, without an orchestrator; `nightly.py` runs the same stages as a Prefect flow. A stage that fails leaves
the last ranking, its page and its digest whole.
"""

from __future__ import annotations

import fcntl
import json
import os
import signal
import threading
import time
from collections import ChainMap
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any, TypeVar

from pipeline.errors import BusyError, StageError, UsageError, ViewworthyError

RETRIES = 2
PAUSE_SECONDS = 60.0  # before a stage is tried again: somebody else is writing, or the disk is not there
WAIT_SECONDS = 600.0  # for a buyer who is at work in the search
LIMITS = {"add": 3600.0, "rank": 4 * 3600.0}  # seconds a stage may take

T = TypeVar("T")
Stage = Callable[[Path], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Night:
    """How a search's night ended. `told`: what the stages gave; `error`: why it failed, empty when it did not."""

    folder: Path
    told: Mapping[str, Any]
    error: str = ""


# ---- stages -------------------------------------------------------------------


def take_in(folder: Path) -> dict[str, Any]:
    """Adds what is new in inbox/. Gives counts and what was refused tonight for the first time."""
    from pipeline.ingest import gather
    from pipeline.intake import add
    from pipeline.search import open_search
    from pipeline.store import open_store

    search = open_search(folder)
    with open_store(folder, wait_seconds=WAIT_SECONDS) as store:
        known = set(store.refusals())
        added = add(store, gather([search.inbox]), search.as_of)
    refused = [{"source": r.source, "line": r.line, "reason": r.reason} for r in added.refusals if r not in known]
    return {"new": added.new, "changed": added.changed, "same": added.same, "refused": refused}


def rank_again(folder: Path) -> dict[str, Any]:
    """Ranks, writes reports/ranking.html and reports/digest.txt, remembers what was told. Gives what the night tells.

    Everything is worked out and worded before anything is replaced.
    """
    from pipeline.digest import HEADINGS, changes, digest, standing
    from pipeline.keys import versions
    from pipeline.output import write_files
    from pipeline.paths import data_folder
    from pipeline.report import pages
    from pipeline.run import bring_up_to_date, keep_ranking, unchanged
    from pipeline.search import open_search
    from pipeline.store import open_store

    search = open_search(folder)
    page = (search.reports / "ranking.html").resolve()
    with open_store(folder, wait_seconds=WAIT_SECONDS) as store:
        before = store.told("digest")
        if before is not None and page.exists() and unchanged(store, search):
            return {"ranking": [], "changes": {}, "unchanged": True, "seconds": {}, "counts": {}, "page": str(page)}
        result = bring_up_to_date(store, search, remember=False, tidy=True)  # kept below, with what is told
        view = result.view
        now = standing(view, versions(data_folder("rules"), search.buyer, search.packs))
        found = changes(before, now, view.buyer.currency)
        refused = [f"{r.source}:{r.line}: {r.reason}" if r.line else f"{r.source}: {r.reason}" for r in view.refusals]
        words = digest(view, found, refused, str(page), before is None)
        files = ChainMap({"digest.txt": words}, pages(view))  # type: ignore[arg-type]
        with store.transaction():
            keep_ranking(store, search, result, command="nightly")
            store.keep_told("digest", view.as_of, now)
            write_files(search.reports, files)
    ranking = [
        {"place": n, "verdict": v.ranked.verdict, "vehicle": v.title, "visit worth": v.ranked.visit_worth,
         "price": v.prospect.asking_price}
        for n, v in enumerate(view.vehicles[:50], 1)
    ]  # fmt: skip
    return {
        "ranking": ranking,
        "changes": {HEADINGS[name]: list(getattr(found, name)) for name in HEADINGS},
        "unchanged": False,
        "seconds": result.record.seconds,
        "counts": result.record.counts,
        "page": str(page),
    }


STAGES: dict[str, Stage] = {"add": take_in, "rank": rank_again}

# ---- what keeps a night safe ----------------------------------------------------


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Holds the search for this night; the system lets go of it when the process ends, however it ends.

    Raises BusyError when another night holds it. Against a buyer at work the database itself is locked.
    """
    try:
        handle = os.open(folder / "night.lock", os.O_CREAT | os.O_RDWR, 0o600)
    except OSError as error:
        raise UsageError(f"cannot be written ({error.strerror})", where=str(folder)) from error
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise BusyError("another night is at work here", where=str(folder), remedy="It ends by itself.") from error
        yield
    finally:
        os.close(handle)


@contextmanager
def within(seconds: float, what: str) -> Iterator[None]:
    """Raises StageError when the inside takes longer. Only the main thread can be stopped so; elsewhere no limit."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def over(number: int, frame: FrameType | None) -> None:
        raise StageError(f"{what} took longer than {seconds:,.0f} seconds and was stopped")

    old = signal.signal(signal.SIGALRM, over)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, old)


def worth_a_retry(error: BaseException) -> bool:
    """Whether the same again may go better: the store is busy or the disk failed. What a person must mend is not."""
    return isinstance(error, (BusyError, OSError))


def tried(stage: Callable[[], T], pause: float = PAUSE_SECONDS, retries: int = RETRIES) -> T:
    """The stage's value, tried again after a pause where that may help."""
    for left in range(retries, -1, -1):
        try:
            return stage()
        except Exception as error:
            if not left or not worth_a_retry(error):
                raise
        time.sleep(pause)
    raise AssertionError("not reached")


def plain_night(folder: Path, pause: float = PAUSE_SECONDS) -> Night:
    """A night without Prefect, for cron and systemd timers. Errors meant for people are told in the result."""
    told: dict[str, Any] = {}
    try:
        with alone(folder):
            for name, stage in STAGES.items():
                with within(LIMITS[name], name):
                    told[name] = tried(lambda stage=stage: stage(folder), pause)  # type: ignore[misc]
    except (ViewworthyError, OSError) as error:
        return Night(folder, told, str(error))
    return Night(folder, told)


# ---- several searches -------------------------------------------------------------


def search_folders(place: Path) -> list[Path]:
    """The search folder itself, or every search folder in it by name. Raises UsageError when there is none."""
    if (place / "buyer.toml").is_file():
        return [place]
    found = sorted(path.parent for path in place.glob("*/buyer.toml")) if place.is_dir() else []
    if not found:
        raise UsageError(
            "neither a search folder nor a folder of such",
            where=str(place),
            remedy="Run 'viewworthy start DIR' to make one.",
        )
    return found


def every_night(folders: list[Path], one: Callable[[Path], Night]) -> list[Night]:
    """Each search on its own: one that fails, in whatever way, stops none of the rest."""
    nights = []
    for folder in folders:
        try:
            nights.append(one(folder))
        except Exception as error:
            nights.append(Night(folder, {}, f"{type(error).__name__}: {error}"))
    return nights


def summary(nights: list[Night]) -> str:
    """One line a search, and how many failed."""
    lines = []
    for night in nights:
        added, ranked = night.told.get("add", {}), night.told.get("rank", {})
        if night.error:
            lines.append(f"{night.folder.name}: failed: {night.error}")
            continue
        told = sum(len(sentences) for sentences in ranked["changes"].values())
        news = "nothing new" if ranked["unchanged"] else f"{told} changes told"
        refused = f", {len(added['refused'])} refused" if added["refused"] else ""
        lines.append(f"{night.folder.name}: {added['new']} new, {added['changed']} changed{refused}; {news}")
    failed = sum(bool(night.error) for night in nights)
    return "\n".join([*lines, f"{len(nights)} search{'es' * (len(nights) > 1)}, {failed} failed."])


def as_json(nights: list[Night]) -> str:
    """For machines."""
    rows = [{"search": str(night.folder), "error": night.error or None, **night.told} for night in nights]
    return json.dumps({"searches": rows}, ensure_ascii=False, indent=1)
