"""Prints how many of the best vehicles of a large search a quick look would have found, had it been used.

    python tests/bench/bench_quick_look.py [ADVERTS]        default 10000

The whole search is worked out; then it is looked at as one above the limit of rules/decision/decision.yaml is, with
the sample that stands there and with shares of the rest for the best. What is counted: of the best 10, 20, 50 and 100
by the worth of a visit that are not to be left, and of those to travel to, the sample apart, how many are chosen.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy is imported
ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).resolve().parent)]

import pool  # noqa: E402

from pipeline.ingest import gather  # noqa: E402
from pipeline.intake import add  # noqa: E402
from pipeline.run import bring_up_to_date  # noqa: E402
from pipeline.schemas import decision as rules  # noqa: E402
from pipeline.search import Search, open_search, start_search  # noqa: E402
from pipeline.store import open_store  # noqa: E402
from pipeline.types import ReportView, VehicleView  # noqa: E402

DAY = date(2026, 10, 31)
FIRST = (10, 20, 50, 100)
SHARES = (40, 16, 8, 4)  # one of so many of the rest is chosen


def main(count: int) -> None:
    """A line a share."""
    with tempfile.TemporaryDirectory() as place:
        start_search(Path(place) / "search", home="Hexham", budget=7000)
        opened = open_search(Path(place) / "search")
        search = Search(opened.folder, replace(opened.buyer, as_of=DAY))
        pool.write(search.inbox, count)
        with open_store(search.folder) as store:
            add(store, gather([search.inbox]), DAY)
        whole = _seen(search, None).vehicles
        sample = rules.load_decision(ROOT / "rules").decision.quick_look.sample
        print(f"{count:,} adverts, {len(whole):,} vehicles, a sample of {sample:,}")
        for share in SHARES:
            best = (len(whole) - sample) // share
            picked = {v.ref for v in _seen(search, (sample, best)).vehicles}
            by_chance = {v.ref for v in _seen(search, (sample, 1)).vehicles}
            rest = [v for v in whole if v.ref not in by_chance]
            print(
                f"{best:,} chosen, one in {share}: "
                f"of the best {_shares(_by_worth(rest, ('travel', 'ring first')), picked)}; "
                f"of those to travel to {_shares(_by_worth(rest, ('travel',)), picked)}"
            )


def _by_worth(vehicles: Sequence[VehicleView], verdicts: Sequence[str]) -> list[str]:
    some = [v for v in vehicles if v.ranked.verdict in verdicts and v.ranked.visit_worth is not None]
    return [v.ref for v in sorted(some, key=lambda v: -(v.ranked.visit_worth or 0.0))]


def _shares(refs: Sequence[str], picked: set[str]) -> str:
    return ", ".join(f"{sum(ref in picked for ref in refs[:n])} of {len(refs[:n])}" for n in FIRST if refs[:n])


def _seen(search: Search, quick: tuple[int, int] | None) -> ReportView:
    """The ranking with every vehicle in full, or with a quick look that samples and chooses so many."""
    load = rules.load_decision

    def changed(folder: Path) -> rules.DecisionRules:
        found = load(folder)
        look = found.decision.quick_look
        update = {"above": 10**9} if quick is None else {"above": 1, "sample": quick[0], "best": quick[1]}
        own = found.decision.model_copy(update={"quick_look": look.model_copy(update=update)})
        return replace(found, decision=own)

    rules.load_decision = changed  # type: ignore[assignment]
    try:
        with open_store(search.folder) as store:
            return bring_up_to_date(store, search, remember=False, tidy=False).view
    finally:
        rules.load_decision = load


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 10_000)
