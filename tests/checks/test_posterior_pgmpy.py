"""Posteriors against pgmpy's VariableElimination; its tables are built here by enumerating the causes."""

import itertools

import numpy as np
import pytest

from pipeline.costing.inference import solve
from pipeline.costing.network import Link, Network, Node

pgmpy_models = pytest.importorskip("pgmpy.models")
from pgmpy.factors.discrete import TabularCPD  # noqa: E402
from pgmpy.inference import VariableElimination  # noqa: E402

ROOTS = {"care": 3, "hard_use": 2, "stood": 2}


def random_network(rng: np.random.Generator, faults: int) -> Network:
    nodes = []
    for i in range(faults):
        parents = rng.choice(i, size=min(i, int(rng.integers(0, 4))), replace=False) if i else []
        effects = [tuple(tuple(float(x) for x in rng.dirichlet([1, 1, 1])) for _ in range(2)) for _ in parents]
        links = tuple(Link(f"f{p}", ((1.0, 0.0, 0.0), *e)) for p, e in zip(parents, effects, strict=True))
        nodes.append(Node(f"f{i}", links))
    rng.shuffle(nodes)  # declared order is not the causal order
    priors = {r: {str(i): float(p) for i, p in enumerate(rng.dirichlet(np.ones(n)))} for r, n in ROOTS.items()}
    return Network(priors, tuple(nodes))


def reference(net: Network, wear: dict[str, np.ndarray], soft: dict[str, np.ndarray]):
    """The same network built for pgmpy; `wear[node]`: (root states, 3)."""
    model = pgmpy_models.DiscreteBayesianNetwork()
    model.add_nodes_from([*ROOTS, *(n.id for n in net.nodes), *(f"seen_{n}" for n in soft)])
    for root, size in ROOTS.items():
        model.add_cpds(TabularCPD(root, size, [[p] for p in net.priors[root].values()]))
    for node in net.nodes:
        parents = [*ROOTS, *(link.parent for link in node.links)]
        sizes = [*ROOTS.values(), *[3] * len(node.links)]
        columns = []
        for config in itertools.product(*map(range, sizes)):
            leak = wear[node.id][net.configs.index(config[: len(ROOTS)])]
            causes = [leak, *(link.effect[s] for link, s in zip(node.links, config[len(ROOTS) :], strict=True))]
            column = [1.0, 0.0, 0.0]
            for cause in causes:  # the worst of two, by enumeration of both
                worst = [0.0, 0.0, 0.0]
                for (a, pa), (b, pb) in itertools.product(enumerate(column), enumerate(cause)):
                    worst[max(a, b)] += pa * pb
                column = worst
            columns.append(column)
        model.add_edges_from((p, node.id) for p in parents)
        model.add_cpds(TabularCPD(node.id, 3, np.array(columns).T, evidence=parents, evidence_card=sizes))
    for name, row in soft.items():
        size = len(row)
        model.add_edge(name, f"seen_{name}")
        model.add_cpds(TabularCPD(f"seen_{name}", 2, [row, 1 - row], evidence=[name], evidence_card=[size]))
    return VariableElimination(model)


@pytest.mark.parametrize("seed", range(7))
def test_posteriors_agree_with_pgmpy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    net = random_network(rng, int(rng.integers(5, 12)))  # with the three roots 8-14 nodes
    ids, vehicles = [n.id for n in net.nodes], 3
    wear = {n: rng.dirichlet([6, 2, 1], (vehicles, len(net.configs))) for n in ids}
    told = list(rng.choice(ids, size=3, replace=False))
    likelihood = {n: rng.uniform(0.05, 1, (vehicles, 3)) for n in told}
    likelihood[told[0]] = np.eye(3)[rng.integers(0, 3, vehicles)]  # one fault known outright
    care = rng.uniform(0.05, 1, (vehicles, 3))
    solved = solve(net, wear, {"care": care}, likelihood)
    roots, faults = solved.roots(), solved.marginals()
    for v in range(vehicles):
        soft = {"care": care[v], **{n: rows[v] for n, rows in likelihood.items()}}
        engine = reference(net, {n: w[v] for n, w in wear.items()}, soft)
        seen = {f"seen_{n}": 0 for n in soft}
        for name, mine in {**roots, **faults}.items():
            theirs = engine.query([name], evidence=seen, show_progress=False).values
            np.testing.assert_allclose(mine[v], theirs, rtol=0, atol=1e-9, err_msg=name)
