"""Which numbers of the rules one vehicle's repair cost hangs on most.

Each number is divided and multiplied by how far it may be out (`rules/money`: by the kind of its source), and the mean
cost is worked out again by weighting the samples that are there: the chance of a sample under the other number over
its chance under this one. What a number multiplies (hours, parts, the chance of paying) needs no weighting.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.jobs import JobCosts
from pipeline.costing.learning import faster, neglected
from pipeline.costing.network import Network, Node, table
from pipeline.costing.reports import Reports, Weight
from pipeline.costing.signs import Fleet
from pipeline.costing.wear import fault_wear, fits, service_wear
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.types import Draws, Sensitive

Array = NDArray[np.float64]

NAMED = 3
LOOKED_AT = 8  # items that cost most; what costs less cannot move the cost more
SPOKEN_OF = 40  # items of which what is said, or not said, is counted: words bear on many at once


@dataclass(frozen=True, slots=True)
class Sampled:
    """One vehicle's samples. `roots`: (samples,) joint root states; `states`: (items, samples)."""

    roots: NDArray[np.intp]
    states: NDArray[np.int8]
    spent: Draws  # item costs, double precision
    expected: Array  # (items,), the mean cost of each
    weights: Mapping[str, Sequence[Weight]]  # item -> what was said and not said of it


@dataclass(frozen=True, slots=True)
class Company:
    """The vehicles that are worked out together, and how the chances of their dearest items move with wear."""

    fleet: Fleet
    # (item, vehicle) -> P(state | roots, parents) with its wear slower, faster, over what it is: (cells,) each
    tried: dict[tuple[str, int], tuple[Array, Array]] = field(default_factory=dict)


class Sensitivity:
    """The numbers of one knowledge, ready to be tried on vehicles."""

    def __init__(self, knowledge: Knowledge, network: Network, reports: Reports, jobs: JobCosts, purpose: str) -> None:
        self.knowledge, self.network, self.reports, self.jobs, self.purpose = knowledge, network, reports, jobs, purpose
        self.column = {node.id: n for n, node in enumerate(network.nodes)}
        self.nodes: dict[str, Node] = {node.id: node for node in network.nodes}
        self.items: dict[str, Fault | Service] = {**knowledge.faults, **knowledge.services}

    def prepare(self, company: Company, sampled: Mapping[int, Sampled]) -> None:
        """Works out for several of the vehicles at once what `most` needs of their dearest items."""
        wanted: dict[str, list[int]] = {}
        for v, one in sampled.items():
            for key in self._dear(one)[:LOOKED_AT]:
                if (key, v) not in company.tried:
                    wanted.setdefault(key, []).append(v)
        for key, some in wanted.items():
            item, fleet = self.items[key], company.fleet.some(some)
            out = self._out(item.source)
            chance = np.array([item.applies.chance(one.traits) for one in fleet.signs])
            now = np.maximum(self._chance(item, fleet, chance), 1e-300)
            slower, faster = (self._chance(_worn(item, factor), fleet, chance) / now for factor in (1 / out, out))
            company.tried.update({(key, v): (slower[n], faster[n]) for n, v in enumerate(some)})

    def _dear(self, sampled: Sampled) -> list[str]:
        """Items that cost anything, dearest first."""
        return [self.network.nodes[n].id for n in np.argsort(-sampled.expected) if sampled.expected[n] > 0]

    def most(self, sampled: Sampled, company: Company, v: int) -> tuple[Sensitive, ...]:
        """The numbers that move the mean cost of the v-th vehicle most, greatest first, at most `NAMED`."""
        return tuple(sorted(self.every(sampled, company, v), key=lambda one: -abs(one.high - one.low))[:NAMED])

    def every(self, sampled: Sampled, company: Company, v: int) -> Iterator[Sensitive]:
        """All numbers that are tried on a vehicle."""
        self.prepare(company, {v: sampled})
        order, total = self._dear(sampled), sampled.spent.total()
        dear = order[:LOOKED_AT]
        yield from self._wear(dear, sampled, company, v, total)
        yield from self._words(order[:SPOKEN_OF], sampled, total)
        yield from self._roots(sampled, total)
        yield from self._money(dear, sampled, float(total.mean()))

    def _wear(
        self, dear: Sequence[str], sampled: Sampled, company: Company, v: int, total: Array
    ) -> Iterator[Sensitive]:
        seen = company.fleet.signs[v].evidence.findings
        for key in dear:
            item = self.items[key]
            if key in seen:  # how fast it wears matters no more
                continue
            cell = sampled.roots
            for link in self.nodes[key].links:
                cell = cell * 3 + sampled.states[self.column[link.parent]]
            cell = cell * 3 + sampled.states[self.column[key]]
            section = "faults" if isinstance(item, Fault) else "services"
            what = "how fast it wears" if isinstance(item, Fault) else "how often it is overdue"
            yield self._tried(
                f"{item.name}: {what}", self._where(section, key), item.source, cell, *company.tried[key, v], total
            )

    def _chance(self, item: Fault | Service, fleet: Fleet, chance: Array) -> Array:
        """P(state | roots, parents) where it may not be fitted, (vehicles, root states x 3 a parent ... x 3)."""
        if isinstance(item, Fault):
            wear, _ = fault_wear(self.network, item, fleet)
        else:
            wear, _ = service_wear(self.network, item, fleet)
        node = self.nodes[item.id]
        fit = fits(wear, chance).reshape(*wear.shape[:2], *[1] * len(node.links), 3)
        return np.asarray((table(node, wear) * fit).reshape(len(wear), -1))

    def _words(self, items: Sequence[str], sampled: Sampled, total: Array) -> Iterator[Sensitive]:
        """How often a bad part is told of so, or kept quiet: a cell of a report table, in all items that use it.

        A sample's weight is the product over the items: for all cells at once, a product of matrices of logarithms.
        """
        cells: dict[tuple[str, str], list[tuple[int, Array]]] = {}
        for n, key in enumerate(items):
            for weight in sampled.weights[key]:
                if weight.table in self.knowledge.tables:
                    out = self._out(self.knowledge.tables[weight.table].source)
                    cell = weight.table, weight.claim.status if weight.claim else "silence"
                    cells.setdefault(cell, []).append((n, self.reports.log_moved(self.items[key], weight, out)))
        if not cells:
            return
        moved = np.zeros((len(cells), 2, 2, len(items)))  # cell, divided or multiplied, minor or major, item
        for at, rows in zip(moved, cells.values(), strict=True):
            for n, row in rows:
                at[:, :, n] += row
        states = sampled.states[[self.column[key] for key in items]]
        bad = np.concatenate([states == 1, states == 2]).astype(np.float64)
        weights = np.exp(moved.reshape(2 * len(cells), -1) @ bad)
        means = ((weights @ total) / np.maximum(weights.sum(axis=1), 1e-300)).reshape(-1, 2)
        for (name, status), (low, high) in zip(cells, means.tolist(), strict=True):
            what = "silence on a bad part" if status == "silence" else f"“{status}” said of a bad part"
            source = self.knowledge.tables[name].source
            yield Sensitive(
                f"{what}, as the table {name} has it", self._where("tables", name), source, self._out(source), low, high
            )

    def _roots(self, sampled: Sampled, total: Array) -> Iterator[Sensitive]:
        for key, state in (("care", "poor"), ("hard_use", "yes"), ("stood", "yes")):
            root = self.knowledge.roots[key]
            out = self._out(root.source)
            low, high = (self.network.by_root(key, {state: factor}) for factor in (1 / out, out))
            what = f"{root.name}: how often “{state}”"
            yield self._tried(what, self._where("roots", key), root.source, sampled.roots, low, high, total)

    def _money(self, dear: Sequence[str], sampled: Sampled, mean: float) -> Iterator[Sensitive]:
        edges = sampled.spent.edges.tolist()
        for key in dear:
            item, column = self.items[key], self.column[key]
            mine = slice(edges[column], edges[column + 1])
            major = sampled.states[column].take(sampled.spent.rows[mine]) == 2
            amounts, all_of_it = sampled.spent.amounts[mine], sampled.spent.samples
            by_state = [float(amounts[~major].sum()) / all_of_it, float(amounts[major].sum()) / all_of_it]
            worst = int(by_state[1] > by_state[0])
            jobs = (item.jobs.minor, item.jobs.major)[worst] if isinstance(item, Fault) else (item.job,)
            job = max(jobs, key=self.jobs.mean)
            hours = float((self.jobs.alone(job) - self.jobs.parts[job]).mean()) / max(self.jobs.mean(job), 1e-9)
            source = self.knowledge.jobs[job].source
            out = self._out(source)
            for what, share in (("hours", hours), ("parts", 1 - hours)):
                moved = by_state[worst] * share
                yield Sensitive(
                    f"{self.knowledge.jobs[job].name}: {what}", self._where("jobs", job), source, out,
                    mean + moved * (1 / out - 1), mean + moved * (out - 1),
                )  # fmt: skip
            if isinstance(item, Fault) and item.pay.chance("minor", self.purpose) * self._out(item.source) < 1:
                out = self._out(item.source)
                yield Sensitive(
                    f"{item.name}: how often a minor one is paid for", self._where("faults", key), item.source, out,
                    mean + by_state[0] * (1 / out - 1), mean + by_state[0] * (out - 1),
                )  # fmt: skip

    def _tried(
        self,
        what: str,
        where: str,
        source: str,
        cell: NDArray[np.intp],
        divided: Array,
        multiplied: Array,
        total: Array,
    ) -> Sensitive:
        """`cell`: (samples,), which of the weights, (cells,), each sample has."""
        count = np.bincount(cell, minlength=len(divided))
        cost = np.bincount(cell, total, minlength=len(divided))
        low, high = (float(cost @ weights) / max(float(count @ weights), 1e-300) for weights in (divided, multiplied))
        return Sensitive(what, where, source, self._out(source), low, high)

    def _out(self, source: str) -> float:
        doubt = self.knowledge.money.doubt
        return doubt.judgement if source.startswith("judgement") else doubt.other

    def _where(self, section: str, key: str) -> str:
        place = self.knowledge.places.get((section, key))
        return f"{place.label}, {key}" if place else key


def _worn(item: Fault | Service, factor: float) -> Fault | Service:
    return faster(item, factor) if isinstance(item, Fault) else neglected(item, factor)
