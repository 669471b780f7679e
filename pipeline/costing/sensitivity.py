"""Which numbers of the rules one vehicle's repair cost hangs on most.

Each number is divided and multiplied by how far it may be out (`rules/money`: by the kind of its source), and the mean
cost is worked out again by weighting the samples that are there: the chance of a sample under the other number over
its chance under this one. What a number multiplies (hours, parts, the chance of paying) needs no weighting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.jobs import JobCosts
from pipeline.costing.learning import faster, neglected
from pipeline.costing.network import Network, Node, table
from pipeline.costing.reports import Reports, Weight
from pipeline.costing.signs import Fleet, Signs
from pipeline.costing.wear import fault_wear, fits, service_wear
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.types import Sensitive

Array = NDArray[np.float64]

NAMED = 3
LOOKED_AT = 8  # items that cost most; what costs less cannot move the cost more
SPOKEN_OF = 40  # items of which what is said, or not said, is counted: words bear on many at once


@dataclass(frozen=True, slots=True)
class Sampled:
    """One vehicle's samples. `roots`: (samples,) joint root states; `states`, `costs`: (samples, items)."""

    roots: NDArray[np.intp]
    states: NDArray[np.int8]
    costs: Array
    weights: Mapping[str, Sequence[Weight]]  # item -> what was said and not said of it


class Sensitivity:
    """The numbers of one knowledge, ready to be tried on vehicles."""

    def __init__(self, knowledge: Knowledge, network: Network, reports: Reports, jobs: JobCosts, purpose: str) -> None:
        self.knowledge, self.network, self.reports, self.jobs, self.purpose = knowledge, network, reports, jobs, purpose
        self.column = {node.id: n for n, node in enumerate(network.nodes)}
        self.nodes: dict[str, Node] = {node.id: node for node in network.nodes}
        self.items: dict[str, Fault | Service] = {**knowledge.faults, **knowledge.services}

    def most(self, sampled: Sampled, signs: Signs) -> tuple[Sensitive, ...]:
        """The numbers that move the mean cost most, greatest first, at most `NAMED`."""
        return tuple(sorted(self.every(sampled, signs), key=lambda one: -abs(one.high - one.low))[:NAMED])

    def every(self, sampled: Sampled, signs: Signs) -> Iterator[Sensitive]:
        """All numbers that are tried on a vehicle."""
        expected, total = sampled.costs.mean(axis=0), sampled.costs.sum(axis=1)
        order = [self.network.nodes[n].id for n in np.argsort(-expected) if expected[n] > 0]
        dear = order[:LOOKED_AT]
        yield from self._wear(dear, sampled, signs, total)
        yield from self._words(order[:SPOKEN_OF], sampled, total)
        yield from self._roots(sampled, total)
        yield from self._money(dear, sampled, float(total.mean()))

    def _wear(self, dear: Sequence[str], sampled: Sampled, signs: Signs, total: Array) -> Iterator[Sensitive]:
        alone = Fleet(
            (signs,), np.array([signs.age]), np.array([signs.miles]),
            {s: (0,) for s, claims in signs.by_subject.items() if any(c.status == "done" for c in claims)},
        )  # fmt: skip
        for key in dear:
            item = self.items[key]
            if key in signs.evidence.findings:  # seen: how fast it wears matters no more
                continue
            out = self._out(item.source)

            def weigh(factor: float, key: str = key, item: Fault | Service = item) -> Array:
                now, other = self._chance(item, alone), self._chance(_worn(item, factor), alone)
                root = sampled.roots if len(now) > 1 else np.zeros_like(sampled.roots)
                parents = (sampled.states[:, self.column[link.parent]] for link in self.nodes[key].links)
                at = (root, *(states.astype(np.intp) for states in (*parents, sampled.states[:, self.column[key]])))
                return np.asarray(other[at] / np.maximum(now[at], 1e-300))

            section = "faults" if isinstance(item, Fault) else "services"
            what = "how fast it wears" if isinstance(item, Fault) else "how often it is overdue"
            yield self._tried(f"{item.name}: {what}", self._where(section, key), item.source, out, weigh, total)

    def _chance(self, item: Fault | Service, alone: Fleet) -> Array:
        """P(state | roots, parents) where it may not be fitted, shape (root states, 3 a parent ..., 3)."""
        if isinstance(item, Fault):
            wear, _ = fault_wear(self.network, item, alone)
        else:
            wear, _ = service_wear(self.network, item, alone)
        chance = np.array([item.applies.chance(alone.signs[0].traits)])
        fit = fits(wear, chance)[0]
        node = self.nodes[item.id]
        return np.asarray(table(node, wear)[0] * fit.reshape(fit.shape[0], *[1] * len(node.links), 3))

    def _words(self, items: Sequence[str], sampled: Sampled, total: Array) -> Iterator[Sensitive]:
        """How often a bad part is told of so, or kept quiet: a cell of a report table, in all items that use it."""
        cells = dict.fromkeys(
            (weight.table, weight.claim.status if weight.claim else "silence")
            for key in items
            for weight in sampled.weights[key]
            if weight.table in self.knowledge.tables
        )
        for name, status in cells:
            out = self._out(self.knowledge.tables[name].source)

            def weigh(factor: float, name: str = name, status: str = status) -> Array:
                result = np.ones(len(total))
                for key in items:
                    for weight in sampled.weights[key]:
                        told = weight.claim.status if weight.claim else "silence"
                        if weight.table == name and told == status:
                            row = self.reports.moved(self.items[key], weight, factor)
                            result = result * row[sampled.states[:, self.column[key]]]
                return result

            what = "silence on a bad part" if status == "silence" else f"“{status}” said of a bad part"
            yield self._tried(
                f"{what}, as the table {name} has it", self._where("tables", name), self.knowledge.tables[name].source,
                out, weigh, total,
            )  # fmt: skip

    def _roots(self, sampled: Sampled, total: Array) -> Iterator[Sensitive]:
        for key, state in (("care", "poor"), ("hard_use", "yes"), ("stood", "yes")):
            root = self.knowledge.roots[key]

            def weigh(factor: float, key: str = key, state: str = state) -> Array:
                return self.network.by_root(key, {state: factor})[sampled.roots]

            yield self._tried(
                f"{root.name}: how often “{state}”", self._where("roots", key), root.source,
                self._out(root.source), weigh, total,
            )  # fmt: skip

    def _money(self, dear: Sequence[str], sampled: Sampled, mean: float) -> Iterator[Sensitive]:
        for key in dear:
            item, column = self.items[key], self.column[key]
            by_state = [
                float(np.where(sampled.states[:, column] == n, sampled.costs[:, column], 0).mean()) for n in (1, 2)
            ]
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
        self, what: str, where: str, source: str, out: float, weigh: Callable[[float], Array], total: Array
    ) -> Sensitive:
        low, high = (float(total @ weights / max(weights.sum(), 1e-300)) for weights in (weigh(1 / out), weigh(out)))
        return Sensitive(what, where, source, out, low, high)

    def _out(self, source: str) -> float:
        doubt = self.knowledge.money.doubt
        return doubt.judgement if source.startswith("judgement") else doubt.other

    def _where(self, section: str, key: str) -> str:
        place = self.knowledge.places.get((section, key))
        return f"{place.label}, {key}" if place else key


def _worn(item: Fault | Service, factor: float) -> Fault | Service:
    return faster(item, factor) if isinstance(item, Fault) else neglected(item, factor)
