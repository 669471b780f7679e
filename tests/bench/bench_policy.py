"""Prints how buyers fare who follow the program or a usual rule, in pools with known truth. Some minutes long.

    python tests/bench/bench_policy.py [POOLS]

Money: mean over pools of true worth less price, true repair, journeys and calls, beside going without; its standard
error; how much less than the program, pool by pool, with the standard error of that. A rival stops at the first
acceptable vehicle or takes the best of three, whichever does better.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / "slow"), str(Path(__file__).resolve().parents[2])]

from policy_world import Result, simulate  # noqa: E402

RIVALS = ("cheapest first", "nearest first", "best price against a hedonic model")


def better(found: dict[str, list[Result]], rival: str) -> list[Result]:
    """The results of the way of stopping that leaves more money."""
    return max((r for name, r in found.items() if name.startswith(rival)), key=lambda r: np.mean([x.money for x in r]))


def main(pools: int) -> None:
    """Both tables."""
    for most, title in ((1.0, "rates right"), (2.0, "every rate wrong by its own factor of up to 2")):
        found = simulate(most, pools, seed=5)
        mine = np.array([r.money for r in found["this program"]])
        print(f"\n{title}, {len(mine)} pools of 12\n")
        print("| buyer | money | behind the program | viewings | calls | bad purchases |")
        print("| --- | --- | --- | --- | --- | --- |")
        rows = {"this program": found["this program"]} | {rival: better(found, rival) for rival in RIVALS}
        for name, results in (rows | {"oracle": found["oracle"]}).items():
            money = np.array([r.money for r in results])
            behind, error = mine - money, np.sqrt(len(mine))
            less = "" if name == "this program" else f"{behind.mean():.0f} ± {behind.std() / error:.0f}"
            trips, calls, bad = (np.mean([getattr(r, key) for r in results]) for key in ("trips", "calls", "bad"))
            print(f"| {name} | {money.mean():.0f} ± {money.std() / error:.0f} | {less} "
                  f"| {trips:.1f} | {calls:.1f} | {bad:.0%} |", flush=True)  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
