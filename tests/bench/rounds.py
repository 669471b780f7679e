"""Ways of doing the same work timed by turns; the standard library alone, for another environment runs it too."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from typing import Any

ROUNDS = 5
Way = Callable[[], Any]


def fastest(ways: dict[str, Way]) -> dict[str, float]:
    """CPU seconds of the fastest round of each way; the ways take turns, so that they share the machine's moods."""
    return least(turn(ways) for _ in range(ROUNDS))


def turn(ways: dict[str, Way]) -> dict[str, float]:
    """CPU seconds of each way, gone once."""
    spans: dict[str, float] = {}
    for name, go in ways.items():
        start = time.process_time()
        go()
        spans[name] = time.process_time() - start
    return spans


def least(turns: Iterable[dict[str, float]]) -> dict[str, float]:
    """The fewest seconds of each way over the turns."""
    every = list(turns)
    return {name: min(spans[name] for spans in every) for name in every[0]}
