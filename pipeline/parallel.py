"""The work of a large search on several processors of this machine. Only the parent writes to the database."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any

from pipeline.batches import Alone, Hands
from pipeline.errors import StageError

if TYPE_CHECKING:
    import pyarrow as pa

WORTH_IT = 1000  # adverts to read or vehicles to cost from which the start of processes pays


class Processes:
    """Fresh processes (spawn: a forked child shares locks and threads that it cannot use), ended with the work."""

    def __init__(self, count: int) -> None:
        self.count = count

    def each(self, work: Callable[[Any], pa.Table], batches: Sequence[Any]) -> Iterator[pa.Table]:
        """Results in the order of the batches; at most two batches a process wait their turn.

        Raises StageError when a process is lost. However this ends, by Ctrl-C or by a kill too, no process is left.
        """
        context = get_context("spawn")
        theirs, ours = context.Pipe(duplex=False)
        pool = ProcessPoolExecutor(self.count, mp_context=context, initializer=_begin, initargs=(theirs,))
        ahead = self.count * 3
        try:
            with _interrupts_wait():
                waiting: list[Future[pa.Table] | None] = [pool.submit(work, batch) for batch in batches[:ahead]]
                # Python 3.11 watches the processes that it knew of when it was last given work: now it knows all.
                pool.submit(int)
            theirs.close()
            for n in range(len(batches)):
                asked = waiting[n]
                assert asked is not None
                yield asked.result()
                waiting[n] = None
                if n + ahead < len(batches):
                    waiting.append(pool.submit(work, batches[n + ahead]))
        except BrokenProcessPool as error:
            raise StageError(
                "a process that did a part of the work was ended from outside, mostly because memory ran out",
                remedy="Run it again: what is done is kept.",
            ) from error
        except BaseException:
            ours.close()  # the processes end at once, in whatever they do
            raise
        finally:
            pool.shutdown(cancel_futures=True)
            ours.close()


def hands_for(amount: int) -> Hands:
    """This process for little work, one process a processor for much."""
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return Processes(count) if amount >= WORTH_IT and count > 1 else Alone()


def _begin(parent: Connection) -> None:
    """In a new process, which would wait for work for ever: it ends when the parent does, or wants no more of it."""

    def watch() -> None:
        try:
            parent.recv()
        except (EOFError, OSError):
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def _interrupts_wait() -> Iterator[None]:
    """Ctrl-C reaches every process of a terminal: what is started in here leaves it to this process."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
