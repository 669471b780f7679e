"""Prints how fast beliefs and costs are worked out, how memory grows, and how pgmpy compares. Minutes long.

    python tests/bench/bench_costing.py [VEHICLES …]

Beliefs: posteriors of every fault and service. Cost: those, joint samples and the cost of each. Seconds are the
processor's, so that what else runs on the machine does not count. Memory is the peak of the process so far, in MiB. The
last lines work out the same posteriors by pgmpy on the sub-networks of the checks.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / "checks"), str(Path(__file__).resolve().parents[2])]

from posterior_reference import Reference, random_evidence, sub_networks  # noqa: E402

from pipeline.costing.estimate import SAMPLES, SEED, TOGETHER, Engine, estimate  # noqa: E402
from pipeline.costing.inference import solve  # noqa: E402
from pipeline.paths import data_folder  # noqa: E402
from pipeline.schemas.knowledge import load_knowledge  # noqa: E402
from pipeline.types import Buyer  # noqa: E402

BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
COMPARED = 20  # vehicles a sub-network


def peak() -> float:
    """Peak resident memory of this process, MiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(counts: tuple[int, ...]) -> None:
    """Prints both tables."""
    knowledge = load_knowledge(["ladder-frame-4x4"], data_folder("rules"))
    started = time.process_time()
    engine = Engine(knowledge, BUYER, SAMPLES, SEED)
    ready = time.process_time() - started
    print(f"{len(engine.ids)} faults and services, {SAMPLES} samples; engine ready in {ready:.2f} s")
    rng = np.random.default_rng(1)
    fleet = [random_evidence(rng, knowledge, str(n), 8) for n in range(max(counts))]
    print(f"{'vehicles':>9} {'beliefs a s':>12} {'costs a s':>10} {'peak MiB':>9}")
    for count in counts:
        some = fleet[:count]
        started = time.process_time()
        for first in range(0, count, TOGETHER):
            engine.beliefs(some[first : first + TOGETHER])
        beliefs = count / (time.process_time() - started)
        started = time.process_time()
        done = sum(1 for _ in estimate(some, knowledge, BUYER))
        print(
            f"{done:>9,} {beliefs:>12,.0f} {done / (time.process_time() - started):>10,.1f} {peak():>9,.0f}", flush=True
        )

    ours = theirs = 0.0
    tables = engine.tables(fleet[:TOGETHER])
    networks = sub_networks(engine.network, 12, 20)
    for network in networks.values():
        ids = [node.id for node in network.nodes]
        wear = {i: tables.wear[i] for i in ids}
        said = {i: np.broadcast_to(tables.likelihood[i], wear[i].shape) for i in ids}
        started = time.process_time()
        solve(network, wear, tables.roots, said).marginals()
        ours += (time.process_time() - started) / TOGETHER
        for v in range(COMPARED):
            reference = Reference(network, {i: wear[i][v] for i in ids})
            started = time.process_time()
            reference.posteriors({i: said[i][v] for i in ids}, {k: r[v] for k, r in tables.roots.items()}, ids)
            theirs += (time.process_time() - started) / COMPARED
    print(f"\n{len(networks)} sub-networks of 12-20 nodes, all posteriors of a vehicle, its tables given:")
    own, other = 1e3 * ours / len(networks), 1e3 * theirs / len(networks)
    print(f"ours {own:.3f} ms, pgmpy {other:.1f} ms: {other / own:,.0f} times")


if __name__ == "__main__":
    main(tuple(int(word) for word in sys.argv[1:]) or (100, 1_000, 10_000))
