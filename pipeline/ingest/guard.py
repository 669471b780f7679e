"""Reads files in a child process with limits on time and memory, so that a hostile file harms nothing but itself.

Parsers in C cannot be interrupted (a page nested 100,000 deep keeps one busy for a minute), and some can crash. The
child is started once, kept for the files that follow, and replaced when it had to be ended. What passes between the
two is JSON and plain bytes.
"""

from __future__ import annotations

import atexit
import json
import subprocess
import sys
import threading
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.ingest.limits import WALL_SECONDS
from pipeline.types import Advert, Ingested, Refusal, SourceFile, StatedValue

_PLAIN = "Save the advert's text as a .txt file."


def to_json(ingested: Ingested) -> bytes:
    """Adverts and refusals as JSON."""
    data = {"adverts": [asdict(a) for a in ingested.adverts], "refusals": [asdict(r) for r in ingested.refusals]}
    return json.dumps(data, default=str).encode("ascii")


def from_json(data: bytes) -> Ingested:
    """The inverse of `to_json`."""
    read = json.loads(data)
    return Ingested(tuple(map(_advert, read["adverts"])), tuple(Refusal(**r) for r in read["refusals"]))


def _advert(row: dict[str, Any]) -> Advert:
    row["stated"] = tuple(StatedValue(**s) for s in row["stated"])
    row["saved_on"] = date.fromisoformat(row["saved_on"]) if row["saved_on"] else None
    return Advert(**row)


class Guard:
    """One reading process, started when first needed. Not for use by two threads at once."""

    def __init__(self, wall_seconds: float = WALL_SECONDS) -> None:
        self._child: subprocess.Popen[bytes] | None = None
        self._wall = wall_seconds

    def read(self, source: SourceFile) -> Ingested:
        """The adverts of a file; a refusal when reading it took too long, too much memory, or ended the process."""
        try:
            child = self._running()
        except OSError as error:
            return _refused(source, f"could not be read: no process could be started ({error.strerror}). Try again.")
        late = threading.Event()
        timer = threading.Timer(self._wall, _end_late, (child, late))
        timer.start()
        try:
            answer = _ask(child, source)
        except (OSError, ValueError):
            answer = None
        finally:
            timer.cancel()
        if answer is not None:
            return answer
        status = self._end()
        if late.is_set() or status == -24:  # SIGXCPU
            return _refused(source, f"took too long to read. {_PLAIN}")
        return _refused(source, f"could not be read: it ends or overfills the reader. {_PLAIN}")

    def close(self) -> None:
        """Ends the child."""
        self._end()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            self._end()
            root = Path(__file__).resolve().parents[2]
            start = f"import sys; sys.path.insert(0, {str(root)!r}); from pipeline.ingest.child import main; main()"
            self._child = subprocess.Popen(
                [sys.executable, "-I", "-c", start],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        return self._child

    def _end(self) -> int | None:
        child, self._child = self._child, None
        if child is None:
            return None
        for pipe in (child.stdin, child.stdout):
            try:
                if pipe is not None:
                    pipe.close()
            except OSError:
                pass
        try:
            return child.wait(2)
        except subprocess.TimeoutExpired:
            child.kill()
            return child.wait()


def _end_late(child: subprocess.Popen[bytes], late: threading.Event) -> None:
    late.set()
    child.kill()


def _ask(child: subprocess.Popen[bytes], source: SourceFile) -> Ingested | None:
    assert child.stdin is not None and child.stdout is not None
    head = {"name": source.name, "sha256": source.sha256, "bytes": len(source.data)}
    child.stdin.write(json.dumps(head).encode("ascii") + b"\n")
    child.stdin.write(source.data)
    child.stdin.flush()
    size = child.stdout.readline(20)
    if not size.endswith(b"\n"):
        return None
    answer = child.stdout.read(int(size))
    return from_json(answer) if len(answer) == int(size) else None


def _refused(source: SourceFile, reason: str) -> Ingested:
    return Ingested((), (Refusal(source.name, reason, None, source.sha256),))


GUARD = Guard()
atexit.register(GUARD.close)
