"""The reading process: takes files on standard input, answers with adverts as JSON on standard output."""

from __future__ import annotations

import json
import math
import os
import sys
import time

from pipeline.ingest.guard import to_json
from pipeline.ingest.limits import MEMORY, SECONDS, SECONDS_PER_MEGABYTE
from pipeline.ingest.readers import read_here
from pipeline.types import Ingested, Refusal, SourceFile

try:
    import resource
except ImportError:  # not on this system: the parent's clock is the only limit
    resource = None  # type: ignore[assignment]


def main() -> None:
    """Reads until standard input ends. Nothing but answers goes to standard output."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    if resource is not None:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    while head := sys.stdin.buffer.readline():
        told = json.loads(head)
        data = sys.stdin.buffer.read(told["bytes"])
        if len(data) < told["bytes"]:
            return
        _allow(SECONDS + SECONDS_PER_MEGABYTE * len(data) / 1e6)
        source = SourceFile(told["name"], data, told["sha256"])
        try:
            answer = to_json(read_here(source))
        except MemoryError:
            reason = "needs too much memory to be read. Save the advert's text as a .txt file."
            answer = to_json(Ingested((), (Refusal(source.name, reason, None, source.sha256),)))
        answers.write(b"%d\n" % len(answer))
        answers.write(answer)
        answers.flush()


def _allow(seconds: float) -> None:
    """Processor time from now on; the system ends the process when it is used up."""
    if resource is not None:
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(time.process_time() + seconds), hard))
