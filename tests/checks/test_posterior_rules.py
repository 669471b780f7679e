"""Posteriors over sub-networks of the real rules against pgmpy's variable elimination: within 1e-9, 200 times."""

import numpy as np
import pytest

pytest.importorskip("pgmpy.models")

from posterior_reference import Reference, random_evidence, sub_networks

from pipeline.costing.estimate import Engine
from pipeline.costing.inference import solve
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.types import Buyer

KNOWLEDGE = load_knowledge(["ladder-frame-4x4"], data_folder("rules"))
ENGINE = Engine(KNOWLEDGE, Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0), 16, 1)
NETWORKS = sub_networks(ENGINE.network, 12, 20)
SETS, EACH = 200, 25  # evidence sets in all, and on each network
TARGETS = sorted(NETWORKS, key=lambda t: max(len(node.links) for node in NETWORKS[t].nodes))[: SETS // EACH]


def test_there_are_networks_enough_of_12_to_20_nodes() -> None:
    assert len(TARGETS) * EACH >= SETS
    assert all(12 <= len(NETWORKS[t].nodes) + 3 <= 20 for t in TARGETS)


@pytest.mark.parametrize("target", TARGETS)
def test_posteriors_agree_with_pgmpy_on_the_real_rules(target: str) -> None:
    network, rng = NETWORKS[target], np.random.default_rng(TARGETS.index(target))
    ids = [node.id for node in network.nodes]
    cases = [random_evidence(rng, KNOWLEDGE, str(n), int(rng.integers(0, 9))) for n in range(EACH)]
    tables = ENGINE.tables(cases)
    wear = {i: tables.wear[i] for i in ids}
    said = {i: np.broadcast_to(tables.likelihood[i], wear[i].shape) for i in ids}
    solved = solve(network, wear, tables.roots, said)
    mine = {**solved.roots(), **solved.marginals()}
    for v in range(EACH):
        reference = Reference(network, {i: wear[i][v] for i in ids})
        ask = [target, "care", str(rng.choice([i for i in ids if i != target]))]
        theirs = reference.posteriors({i: said[i][v] for i in ids}, {k: r[v] for k, r in tables.roots.items()}, ask)
        for name, values in theirs.items():
            np.testing.assert_allclose(mine[name][v], values, rtol=0, atol=1e-9, err_msg=f"{name} of vehicle {v}")
