"""Sub-networks of the real rules, and the same networks in pgmpy, its tables built by enumerating the causes."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from datetime import date

import numpy as np
from numpy.typing import NDArray
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

from pipeline.costing.network import Network
from pipeline.schemas.knowledge import Knowledge
from pipeline.types import GRADES, STATUSES, Claim, Evidence

Array = NDArray[np.float64]


def sub_networks(network: Network, low: int, high: int) -> dict[str, Network]:
    """Fault -> the network of it, its ancestors and its services, of `low` to `high` nodes, the roots among them."""
    nodes, found = {node.id: node for node in network.nodes}, {}
    for target in nodes:
        wanted, todo = {target}, [target]
        while todo:
            for link in nodes[todo.pop()].links:
                if link.parent not in wanted:
                    wanted.add(link.parent)
                    todo.append(link.parent)
        if low <= len(wanted) + len(network.priors) <= high:
            found[target] = Network(network.priors, tuple(node for node in network.nodes if node.id in wanted))
    return found


def random_evidence(rng: np.random.Generator, knowledge: Knowledge, ref: str, claims: int) -> Evidence:
    """A vehicle of random age and mileage, of which an advert says random things."""
    subjects = sorted({link.subject for fault in knowledge.faults.values() for link in fault.speaks})
    age, miles = float(rng.uniform(8, 40)), float(rng.uniform(20_000, 220_000))
    said = tuple(
        Claim(str(rng.choice(subjects)), str(rng.choice(STATUSES)), str(rng.choice(GRADES)), "words", 0, 5, "test")  # type: ignore[arg-type]
        for _ in range(claims)
    )
    fuel = str(rng.choice(["petrol", "diesel"]))
    facts = {"year": [2026 - round(age)], "fuel": fuel, "service_history": str(rng.choice(["full", "part", "none"]))}
    return Evidence(ref, facts, said, age, miles, date(2026, 10, 31), int(rng.integers(10, 250)))


class Reference:
    """One network in pgmpy. `wear[node]`: (root states, 3), as everywhere for one vehicle."""

    def __init__(self, network: Network, wear: Mapping[str, Array]) -> None:
        self.network, self.roots = network, {root: len(states) for root, states in network.priors.items()}
        self.model = DiscreteBayesianNetwork()
        self.model.add_nodes_from([*self.roots, *(node.id for node in network.nodes)])
        for root, size in self.roots.items():
            self.model.add_cpds(TabularCPD(root, size, [[p] for p in network.priors[root].values()]))
        for node in network.nodes:
            parents = [*self.roots, *(link.parent for link in node.links)]
            sizes = [*self.roots.values(), *[3] * len(node.links)]
            columns = []
            for config in itertools.product(*map(range, sizes)):
                row = network.configs.index(config[: len(self.roots)])
                causes = [link.effect[s] for link, s in zip(node.links, config[len(self.roots) :], strict=True)]
                column = np.asarray(wear[node.id][row])
                for cause in causes:  # the worst of two, by enumeration of both
                    worst = np.zeros(3)
                    for (a, pa), (b, pb) in itertools.product(enumerate(column), enumerate(cause)):
                        worst[max(a, b)] += pa * pb
                    column = worst
                columns.append(column)
            self.model.add_edges_from((parent, node.id) for parent in parents)
            self.model.add_cpds(TabularCPD(node.id, 3, np.array(columns).T, evidence=parents, evidence_card=sizes))

    def posteriors(self, soft: Mapping[str, Array], root_soft: Mapping[str, Array], ask: list[str]) -> dict[str, Array]:
        """P(each of `ask` | evidence). `soft[node]`: (root states, 3) likelihoods; `root_soft[root]`: (its states,)."""
        model = self.model.copy()
        seen = {}
        for name, row in root_soft.items():
            scaled = row / row.max()
            model.add_edge(name, f"seen_{name}")
            cpd = TabularCPD(f"seen_{name}", 2, [scaled, 1 - scaled], evidence=[name], evidence_card=[len(row)])
            model.add_cpds(cpd)
            seen[f"seen_{name}"] = 0
        for name, rows in soft.items():
            scaled = (rows / rows.max()).reshape(-1)
            parents = [*self.roots, name]
            sizes = [*self.roots.values(), 3]
            model.add_edges_from((parent, f"seen_{name}") for parent in parents)
            cpd = TabularCPD(f"seen_{name}", 2, [scaled, 1 - scaled], evidence=parents, evidence_card=sizes)
            model.add_cpds(cpd)
            seen[f"seen_{name}"] = 0
        engine = VariableElimination(model)
        return {name: np.asarray(engine.query([name], evidence=seen, show_progress=False).values) for name in ask}
