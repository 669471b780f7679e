"""Reading and costing spread over a Dask cluster by Prefect's task runner (extra `[cluster]`).

Workers get text, evidence, knowledge and terms; they return Arrow tables and never open the database.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

os.environ.setdefault("DO_NOT_TRACK", "1")  # Prefect reads these when it is imported
os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")

from prefect import flow, task
from prefect_dask.task_runners import DaskTaskRunner

if TYPE_CHECKING:
    import pyarrow as pa


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
