"""The quick look loses little: members' three best against the ranking of the whole pool at their own exact terms."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "bench"))

from bench_advise import members, pool

from pipeline.advise.choose import choose
from pipeline.advise.members import read_members
from pipeline.advise.pool import Pool, Terms
from pipeline.costing import estimate
from pipeline.intake import quiet
from pipeline.paths import data_folder
from pipeline.ranking import rank
from pipeline.run import bring_up_to_date
from pipeline.schemas.decision import load_decision
from pipeline.store import open_store

VEHICLES, MEMBERS = 150, 8


@pytest.mark.slow
def test_the_three_best_of_the_whole_pool(tmp_path: Path) -> None:
    search = pool(tmp_path / "pool", VEHICLES)
    decision = load_decision(data_folder("rules"))
    with open_store(search.folder, create=False) as store:
        shared = Pool.of(bring_up_to_date(store, search, remember=False), search, decision)
    buyers = [buyer for _, buyer in read_members(members(tmp_path / "members", MEMBERS), search.buyer)[0]]
    terms = Terms(shared, buyers[0])
    hits = asked = 0
    lost: list[float] = []
    for buyer, (quick, _) in zip(buyers, choose(terms, buyers, quiet, 0, MEMBERS), strict=True):
        exact = [
            replace(prospect, repair=repair)
            for prospect, repair in zip(
                terms.prospects(buyer), estimate(shared.evidence, terms.knowledge, buyer), strict=True
            )
        ]
        full = [row for row in rank(exact, buyer, decision) if row.verdict != "leave"][:3]
        hits += len({view.ref for view in quick} & {row.ref for row in full})
        asked += len(full)
        assert bool(quick) == bool(full)
        worth = {row.ref: row.visit_worth or 0.0 for row in full}
        lost += [max(worth.values()) - (quick[0].ranked.visit_worth or 0.0)] if full else []
        print(buyer.search_name, [view.ref for view in quick], [row.ref for row in full])
    print(f"{hits} of {asked} of the full ranking's three best are among the quick look's; lost {lost}")
    assert hits >= 0.85 * asked
