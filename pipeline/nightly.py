"""All that knows Prefect: the night as a flow (retries, time limits, artefacts, a schedule), and work on a cluster.

Prefect reads its settings when it is imported: call `nightly_settings.prepare` before importing this module.
"""

from __future__ import annotations

import asyncio
import logging
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

os.environ.setdefault("DO_NOT_TRACK", "1")  # for whoever imports this without preparing it: see above
os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")

from prefect import flow, task
from prefect.artifacts import create_markdown_artifact, create_table_artifact
from prefect.client.orchestration import get_client
from prefect.schedules import Cron
from prefect.settings import PREFECT_API_URL, PREFECT_HOME

from pipeline.errors import StageError, UsageError
from pipeline.night import (
    LIMITS,
    PAUSE_SECONDS,
    RETRIES,
    Night,
    alone,
    every_night,
    rank_again,
    search_folders,
    summary,
    take_in,
    worth_a_retry,
)
from pipeline.nightly_settings import STARTUP_SECONDS

if TYPE_CHECKING:
    import pyarrow as pa

KEPT = {"persist_result": False, "cache_policy": None}  # the search's own database is the only memory


def _again(task: Any, run: Any, state: Any) -> bool:
    """Prefect asks after a failure whether to try again."""
    return worth_a_retry(state.result(raise_on_failure=False))


def _terms(name: str) -> dict[str, Any]:
    """Of a stage as a task: tried again where that may help, ended when it takes too long."""
    return {
        "name": name,
        "retries": RETRIES,
        "retry_delay_seconds": PAUSE_SECONDS,
        "retry_condition_fn": _again,
        "timeout_seconds": LIMITS[name],
        **KEPT,
    }


@task(**_terms("add"))  # type: ignore[untyped-decorator]
def add_stage(folder: str) -> dict[str, Any]:
    """Takes in what is new in inbox/."""
    return take_in(Path(folder))


@task(**_terms("rank"))  # type: ignore[untyped-decorator]
def rank_stage(folder: str) -> dict[str, Any]:
    """Ranks and writes page and digest; a failure leaves the last ones whole."""
    return rank_again(Path(folder))


@flow(  # type: ignore[untyped-decorator]
    name="night", persist_result=False, validate_parameters=False, flow_run_name="{folder}"
)
def night(folder: str) -> dict[str, Any]:
    """One night of one search. Artefacts: the ranking, what changed, what was refused."""
    with alone(Path(folder)):
        added = add_stage(folder)
        ranked = rank_stage(folder)
    name = Path(folder).name or "search"
    if ranked["ranking"]:
        create_table_artifact(ranked["ranking"], key="ranking", description=f"Ranking of {name}: {ranked['page']}")
    create_markdown_artifact(_changes(name, ranked), key="changes", description=f"What changed in {name}")
    if added["refused"]:
        create_table_artifact(added["refused"], key="refused", description=f"What could not be read in {name}")
    return {"add": added, "rank": ranked}


@flow(  # type: ignore[untyped-decorator]
    name="nights", persist_result=False, validate_parameters=False
)
def nights(place: str) -> str:
    """The night of every search in a folder, each on its own. Fails at the end when any of them failed."""
    done = every_night(search_folders(Path(place)), one_night)
    print(f"{datetime.now():%Y-%m-%d %H:%M}", summary(done), sep="\n", flush=True)
    failed = [f"{n.folder.name}: {n.error}" for n in done if n.error]
    if failed:
        raise StageError(f"{len(failed)} of {len(done)} searches failed: {'; '.join(failed)}")
    return f"{len(done)} searches"


def one_night(folder: Path) -> Night:
    """A night as a flow run of its own."""
    state = night(str(folder), return_state=True)
    told = state.result(raise_on_failure=False)
    if isinstance(told, BaseException):
        return Night(folder, {}, f"{told}" or type(told).__name__)
    return Night(folder, told)


def serve(place: Path, cron: str, say: Callable[[str], None]) -> None:
    """Serves the nights on a cron time of this machine until interrupted, and says how they went.

    With a server of its own unless PREFECT_API_URL names one. Raises UsageError for a time that is none.
    """
    zone, api, home = _zone(), PREFECT_API_URL.value(), PREFECT_HOME.value()
    if not api:
        raise StageError("PREFECT_API_URL is not set")
    try:
        schedule = Cron(cron, timezone=zone)
    except ValueError as error:
        raise UsageError(
            f"{cron!r} is no cron time", remedy='Minute, hour, day, month, weekday: "15 3 * * *" is 3:15 every night.'
        ) from error
    server = None
    try:
        if not _healthy():
            with (home / "server.log").open("ab") as log:
                # A session of its own: Ctrl-C is for this process, which needs the server until its own end.
                command = [sys.executable, "-m", "prefect", "server", "start"]
                server = subprocess.Popen(command, stdout=log, stderr=log, start_new_session=True)
        deadline = time.monotonic() + STARTUP_SECONDS
        while not _healthy():
            if time.monotonic() > deadline or (server is not None and server.poll() is not None):
                raise StageError(
                    f"the Prefect server did not start: {home / 'server.log'} says why",
                    remedy="Try again, or use cron: see the README.",
                )
            time.sleep(1)
        say(f"Nights at {cron} ({zone}), until Ctrl-C. What they did: {api.removesuffix('/api')}")
        if server is not None:
            say(f"It asks for the user and password that stand in {home / 'password'}, as nightly:PASSWORD.")
        for handler in logging.getLogger("prefect").handlers:
            handler.setLevel(logging.ERROR)  # of this process: that a night's own process was lost
        nights.serve(
            name="nightly",
            schedule=schedule,
            parameters={"place": str(place.resolve())},
            limit=1,
            print_starting_message=False,
        )
    finally:
        if server is not None:
            server.terminate()
            server.wait()


def _zone() -> str:
    """The IANA name of this machine's time zone; Prefect would take cron times for UTC."""
    told = os.environ.get("TZ", "").lstrip(":") or str(Path("/etc/localtime").resolve())
    name = told.rpartition("zoneinfo/")[2]
    try:
        return ZoneInfo(name).key
    except (ValueError, OSError, KeyError):
        return "UTC"


def _healthy() -> bool:
    async def ask() -> bool:
        async with get_client() as client:
            return await client.api_healthcheck() is None

    return asyncio.run(ask())


def _changes(name: str, ranked: dict[str, Any]) -> str:
    lines = [f"# {name}"]
    for heading, sentences in ranked["changes"].items():
        if sentences:
            lines += ["", f"## {heading}", "", *(f"- {_plain(text)}" for text in sentences)]
    if len(lines) == 1:
        lines += ["", "Nothing has changed."]
    return "\n".join(lines)


def _plain(text: str) -> str:
    """Advert text inside Markdown: no markup of it is taken for markup."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]()#+-.!|<>~&" else c for c in text)


class Sealed:
    """A batch that Prefect does not look into: it would search every rule and claim of it for futures."""

    def __init__(self, batch: Any) -> None:
        self.batch = batch


class Cluster:
    """A Dask cluster: the scheduler's `address`, or `workers` processes on this machine while the work lasts."""

    def __init__(self, address: str | None = None, workers: int = 2) -> None:
        self.address, self.workers = address, workers

    def each(self, work: Callable[[Any], pa.Table], batches: Sequence[Any]) -> Iterator[pa.Table]:
        """Results in the order of the batches."""
        from prefect_dask.task_runners import DaskTaskRunner  # of the extra [cluster], which a night does without

        here = {"n_workers": self.workers, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
        where = {"address": self.address} if self.address else {"cluster_kwargs": here}

        @task(  # type: ignore[untyped-decorator]
            name=work.__name__, retries=1, persist_result=False, cache_policy=None
        )
        def step(sealed: Sealed) -> pa.Table:
            return work(sealed.batch)

        @flow(  # type: ignore[untyped-decorator]
            name="spread", task_runner=DaskTaskRunner(**where), persist_result=False, validate_parameters=False
        )
        def spread() -> list[pa.Table]:
            waiting = [step.submit(Sealed(batch)) for batch in batches]
            return [one.result() for one in waiting]

        yield from spread()
