"""The work of a large search on several processors of this machine. Only the parent writes to the database."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any

from pipeline.batches import Alone, Hands

if TYPE_CHECKING:
    import pyarrow as pa

WORTH_IT = 1000  # adverts to read or vehicles to cost from which the start of processes pays


class Processes:
    """Fresh processes (spawn: a forked child shares locks and threads that it cannot use), ended with the work."""

    def __init__(self, count: int) -> None:
        self.count = count

    def each(self, work: Callable[[Any], pa.Table], batches: Sequence[Any]) -> Iterator[pa.Table]:
        """Results in the order of the batches; at most two batches a process wait their turn."""
        with ProcessPoolExecutor(self.count, mp_context=get_context("spawn")) as pool:
            ahead = self.count * 3
            waiting = [pool.submit(work, batch) for batch in batches[:ahead]]
            for n in range(len(batches)):
                yield waiting[n].result()
                waiting[n] = None  # type: ignore[call-overload]
                if n + ahead < len(batches):
                    waiting.append(pool.submit(work, batches[n + ahead]))


def hands_for(amount: int) -> Hands:
    """This process for little work, one process a processor for much."""
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return Processes(count) if amount >= WORTH_IT and count > 1 else Alone()
