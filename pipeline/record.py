"""How long each stage of a run took and what it counted."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

clock = time.perf_counter  # a bench puts processor time here


@dataclass(slots=True)
class Record:
    """Seconds a stage, in the order of their first turn, and counts."""

    seconds: dict[str, float] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Adds the time inside to the stage's."""
        start = clock()
        try:
            yield
        finally:
            self.seconds[name] = round(self.seconds.get(name, 0.0) + clock() - start, 6)

    def lines(self) -> list[str]:
        """For people: a stage a line, then the counts."""
        told = [f"{name:<10} {seconds:9.2f} s" for name, seconds in self.seconds.items()]
        counted = ", ".join(f"{count:,} {name}" for name, count in self.counts.items())
        return [*told, f"{'together':<10} {sum(self.seconds.values()):9.2f} s", counted]
