"""Whoever follows the program is better off than whoever goes to the cheapest, the nearest or the best-priced first.

`python tests/bench/bench_policy.py` prints the whole table from more pools.
"""

import numpy as np
import pytest
from policy_world import Result, simulate

pytestmark = pytest.mark.slow

POOLS = 36
RIVALS = ("cheapest first", "nearest first", "best price against a hedonic model")


def money(results: list[Result]) -> np.ndarray:
    return np.array([result.money for result in results])


@pytest.mark.parametrize("most", [1.0, 2.0], ids=["rates right", "rates wrong by up to two"])
def test_the_program_beats_the_usual_ways_of_going_about_it(most: float) -> None:
    found = simulate(most, POOLS, seed=5)
    mine = money(found["this program"])
    assert len(mine) == POOLS
    for rival in RIVALS:
        ways = [money(results) for name, results in found.items() if name.startswith(rival)]
        assert len(ways) == 2
        assert mine.mean() > max(way.mean() for way in ways), rival
    assert mine.mean() > 0, "no worse than going without"
    assert money(found["oracle"]).mean() > mine.mean(), "nobody beats whoever knows everything"
    trips = [np.mean([r.trips for r in found[name]]) for name in ("this program", "cheapest first, best of three")]
    assert trips[0] < trips[1]
