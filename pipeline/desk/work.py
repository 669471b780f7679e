"""Long work of the desk: one thing after another in a thread of its own, while the pages go on answering."""

from __future__ import annotations

import itertools
import logging
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from pipeline.errors import ViewworthyError
from pipeline.intake import Progress

KEPT = 200  # finished jobs remembered, so that going back in the browser finds them
log = logging.getLogger(__name__)


@dataclass
class Job:
    """One piece of work: how far it is, and where to go when it is done. Written by the worker alone."""

    number: int
    title: str
    state: Literal["waiting", "running", "done", "failed"] = "waiting"
    stage: str = ""
    done: int = 0
    total: int = 0
    error: str = ""
    leads_to: str = "/"
    result: Any = None
    given: dict[str, list[str]] = field(default_factory=dict)  # the form that asked for it, kept for when it fails
    back: str = "/"

    @property
    def over(self) -> bool:
        return self.state in ("done", "failed")


Task = Callable[[Job, Progress], None]  # sets the job's result and leads_to


class Worker:
    """A queue and its thread. `close` waits for what is running."""

    def __init__(self) -> None:
        self.jobs: dict[int, Job] = {}
        self._numbers = itertools.count(1)
        self._queue: queue.Queue[tuple[Job, Task] | None] = queue.Queue()
        self._thread = threading.Thread(target=self._run, name="desk work", daemon=True)
        self._thread.start()

    def add(self, title: str, task: Task, *, given: dict[str, list[str]] | None = None, back: str = "/") -> Job:
        job = Job(next(self._numbers), title, given=given or {}, back=back)
        self.jobs[job.number] = job
        for number in [n for n, old in self.jobs.items() if old.over][:-KEPT]:
            del self.jobs[number]
        self._queue.put((job, task))
        return job

    @property
    def busy(self) -> Job | None:
        """The oldest job that is not over."""
        return next((job for job in list(self.jobs.values()) if not job.over), None)

    @property
    def trouble(self) -> str:
        """Why the newest piece of work failed, where no form of the person's shows it."""
        last = list(self.jobs.values())[-1:]
        return last[0].error if last and last[0].state == "failed" and not last[0].given else ""

    def close(self) -> None:
        self._queue.put(None)
        self._thread.join(timeout=60)

    def _run(self) -> None:
        while (item := self._queue.get()) is not None:
            job, task = item
            job.state = "running"

            def progress(stage: str, done: int, total: int, job: Job = job) -> None:
                job.stage, job.done, job.total = stage, done, total

            try:
                task(job, progress)
                job.state = "done"
            except ViewworthyError as error:
                job.error, job.state = str(error), "failed"
            except Exception as error:  # the desk goes on; the person is told, the terminal gets the trace
                log.exception("work failed: %s", job.title)
                job.error, job.state = f"This went wrong inside viewworthy ({type(error).__name__}: {error}).", "failed"
