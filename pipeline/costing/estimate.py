"""From evidence to the distribution of the repair cost in the buyer's first year, for many vehicles at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.inference import Solved, solve
from pipeline.costing.jobs import JobCosts, job_costs, thrift
from pipeline.costing.network import Link, Network, Node
from pipeline.costing.reasons import assumptions, contradictions, home_cautions, item_reasons
from pipeline.costing.reports import ADMITS, Reports, Weight
from pipeline.costing.sensitivity import Company, Sampled, Sensitivity
from pipeline.costing.signs import Renewal, Signs, read_fleet
from pipeline.costing.spending import Spending, Work
from pipeline.costing.wear import fault_wear, fits, service_wear
from pipeline.itembeliefs import ItemBeliefs, Parts, packed_reasons
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.schemas.region import Region
from pipeline.schemas.vehicle import Applies
from pipeline.types import ADVERT_ORIGINS, STATES, Buyer, Evidence, Reason, RepairEstimate
from pipeline.uniforms import columns

Array = NDArray[np.float64]

SAMPLES = 4000  # percentiles stay within 2 % between seeds (tests/costing); stratified columns help
SEED = 20261
TOGETHER = 64  # vehicles solved at once: bounds memory, costs no speed
SOUND = (1.0, 0.0, 0.0)
ANY = Applies()  # every vehicle has it
CAUTIONED = 8  # items that cost most, whose jobs a buyer who does their own work is warned of


def estimate(
    evidence: Sequence[Evidence],
    knowledge: Knowledge,
    buyer: Buyer,
    *,
    samples: int = SAMPLES,
    seed: int = SEED,
) -> Iterator[RepairEstimate]:
    """One estimate a vehicle, in order. Vehicles are independent: company changes no vehicle's figures.

    Raises StageError when a vehicle's evidence is impossible under the rules.
    """
    yield from Engine(knowledge, buyer, samples, seed).estimate(evidence)


@dataclass(frozen=True, slots=True)
class Tables:
    """What is known of some vehicles, ready for the network. Arrays are (vehicles, root states or 1, 3)."""

    company: Company
    wear: Mapping[str, Array]
    likelihood: Mapping[str, Array]
    roots: Mapping[str, Array]  # root -> (vehicles, its states)
    weights: Mapping[str, Sequence[list[Weight]]]  # item -> what moved it, a list a vehicle
    renewals: Mapping[str, Mapping[int, Renewal]]  # item -> vehicle -> the renewal that its advert tells of

    @property
    def signs(self) -> tuple[Signs, ...]:
        """What each vehicle's advert gives to reason from."""
        return self.company.fleet.signs


@dataclass(frozen=True, slots=True)
class Believed:
    """Posteriors of some vehicles and joint states drawn from them."""

    tables: Tables
    marginals: Mapping[str, Array]
    roots: Mapping[str, Array]
    configs: NDArray[np.intp]  # (vehicles, samples), joint states of the roots
    states: NDArray[np.int8]  # (vehicles, samples, items)


class Engine:
    """The network, the job costs and the common random numbers of one run."""

    def __init__(self, knowledge: Knowledge, buyer: Buyer, samples: int = SAMPLES, seed: int = SEED) -> None:
        self.knowledge, self.samples, self.seed = knowledge, samples, seed
        self.region: Region = knowledge.regions[buyer.region]
        self.network = build_network(knowledge)
        self.reports = Reports(knowledge, self.region)
        seen = np.array([knowledge.learning.seen[state] for state in STATES])
        self._seen = dict(zip(STATES, seen.T, strict=True))  # what was put down -> its chance by true state
        self.ids = tuple(node.id for node in self.network.nodes)
        self.parts = self._parts()
        self.assemblies = [
            (one.job, [self.ids.index(fault) for fault in one.faults]) for one in knowledge.assemblies.values()
        ]
        self.state_uniforms = columns(["roots", *(f"state {i}" for i in self.ids)], samples, seed)
        self.pay_uniforms = np.ascontiguousarray(columns([f"pay {i}" for i in self.ids], samples, seed).T)
        self._at_terms_of(buyer)

    def _at_terms_of(self, buyer: Buyer) -> None:
        knowledge = self.knowledge
        self.buyer, self.thrift = buyer, thrift(knowledge, buyer)
        self.costs: JobCosts = job_costs(knowledge, self.region, buyer, self.samples, self.seed)
        self.sensitivity = Sensitivity(knowledge, self.network, self.reports, self.costs, buyer.purpose)
        work = [Work(n, *one) for n, key in enumerate(self.ids) for one in self.work(key)]
        self.spending = Spending(knowledge, buyer, self.costs, work, self.pay_uniforms, self.assemblies)

    def beliefs(self, evidence: Sequence[Evidence]) -> list[dict[str, Array]]:
        """Only the posteriors: for each vehicle, item -> P(sound, minor, major)."""
        marginals = self.solve(self.tables(evidence)).marginals()
        return [{i: marginals[i][v] for i in self.ids} for v in range(len(evidence))]

    def estimate(self, evidence: Sequence[Evidence]) -> Iterator[RepairEstimate]:
        """Estimates of any number of vehicles, in order."""
        for start in range(0, len(evidence), TOGETHER):
            yield from self.run(evidence[start : start + TOGETHER])

    def run(self, evidence: Sequence[Evidence]) -> Iterator[RepairEstimate]:
        """Estimates of at most `TOGETHER` vehicles."""
        if evidence:
            believed = self.believed(evidence)
            sampled = {v: self.sampled(believed, v) for v in range(len(evidence))}
            self.sensitivity.prepare(believed.tables.company, sampled)
            yield from (self._estimate(believed, v, sampled.pop(v)) for v in range(len(evidence)))

    def for_buyer(self, buyer: Buyer) -> Engine:
        """The same network and random numbers with the terms of another buyer in the same region."""
        other = copy(self)
        other._at_terms_of(buyer)
        return other

    def believed(self, evidence: Sequence[Evidence]) -> Believed:
        """What the network makes of at most `TOGETHER` vehicles: the same for every buyer of the region."""
        tables = self.tables(evidence)
        solved = self.solve(tables)
        marginals, posterior = solved.marginals(), solved.roots()
        configs, states = solved.sample(self.state_uniforms)
        return Believed(tables, marginals, posterior, configs, states)

    def priced(self, believed: Believed, v: int) -> RepairEstimate:
        """The estimate of the v-th of the vehicles at this buyer's terms."""
        return self._estimate(believed, v, self.sampled(believed, v))

    def sampled(self, believed: Believed, v: int) -> Sampled:
        """The v-th vehicle's samples and what they cost this buyer."""
        states = np.ascontiguousarray(believed.states[v].T)
        spent = self.spending.of(states)
        said = {key: believed.tables.weights[key][v] for key in self.ids}
        return Sampled(believed.configs[v], states, spent, spent.dense().mean(axis=0), said)

    def solve(self, tables: Tables) -> Solved:
        """The network given the tables."""
        return solve(self.network, tables.wear, tables.roots, tables.likelihood)

    def tables(self, evidence: Sequence[Evidence]) -> Tables:
        """Wear, likelihoods and what moved them, of every item for every vehicle."""
        fleet = read_fleet(evidence, self.knowledge)
        wear: dict[str, Array] = {}
        likelihood: dict[str, Array] = {}
        weights: dict[str, list[list[Weight]]] = {}
        renewals: dict[str, dict[int, Renewal]] = {}
        for key, fault in self.knowledge.faults.items():
            wear[key], renewals[key] = fault_wear(self.network, fault, fleet)
            said = [self.reports.fault(fault, one) for one in fleet.signs]
            likelihood[key] = self._likelihood(fault, wear[key], said, fleet.signs)
            weights[key] = [moved for _, moved in said]
        for key, service in self.knowledge.services.items():
            wear[key], renewals[key] = service_wear(self.network, service, fleet)
            said = [self.reports.service(service, one) for one in fleet.signs]
            likelihood[key] = self._likelihood(service, wear[key], said, fleet.signs)
            weights[key] = [moved for _, moved in said]
        for v, one in enumerate(evidence):
            for key, state in one.findings.items():
                if key in likelihood:
                    shape = (len(evidence), max(likelihood[key].shape[1], 1), 3)
                    likelihood[key] = np.array(np.broadcast_to(likelihood[key], shape))
                    likelihood[key][v] = self._seen[state]
        roots = {
            key: np.stack([self.reports.root(root, one) for one in fleet.signs])
            for key, root in self.knowledge.roots.items()
        }
        return Tables(Company(fleet), wear, likelihood, roots, weights, renewals)

    def _likelihood(
        self, item: Fault | Service, wear: Array, said: Sequence[tuple[Array, list[Weight]]], signs: Sequence[Signs]
    ) -> Array:
        words = np.stack([row for row, _ in said])[:, None, :]
        if item.applies == ANY:
            return words
        return words * fits(wear, np.array([item.applies.chance(one.traits) for one in signs]))

    def item_costs(self, states: NDArray[np.int8]) -> Array:
        """Cost of every item in every sample, shape (samples, items), from states of the same shape."""
        return self.spending.of(np.ascontiguousarray(states.T)).dense()

    def _estimate(self, believed: Believed, v: int, sampled: Sampled) -> RepairEstimate:
        tables, expected = believed.tables, sampled.expected
        signs = tables.signs[v]
        numbers = np.empty((4, len(self.ids)))
        numbers[:3] = np.array([believed.marginals[key][v] for key in self.ids]).T
        numbers[3] = expected
        bad = (numbers[1] + numbers[2]).tolist()
        told = [self._told(key, tables, v, chance) for key, chance in zip(self.ids, bad, strict=True)]
        own_up = np.array([admits for admits, _ in told], bool)
        items = ItemBeliefs(self.parts, numbers, own_up, packed_reasons(reasons for _, reasons in told))
        admitted = sum(cost for cost, admits in zip(expected.tolist(), own_up.tolist(), strict=True) if admits)
        dear = np.argsort(-expected)[:CAUTIONED] if self.buyer.does_own_work else ()
        return RepairEstimate(
            ref=signs.evidence.ref,
            items=items,
            drawn=sampled.spent.packed(),
            roots={
                key: dict(zip(root.prior, believed.roots[key][v].tolist(), strict=True))
                for key, root in self.knowledge.roots.items()
            },
            admitted_mean=admitted,
            unsaid_mean=float(expected.sum()) - admitted,
            assumptions=assumptions(signs, self.knowledge, self.buyer, self.region),
            contradictions=contradictions(signs),
            sensitive=self.sensitivity.most(sampled, tables.company, v),
            cautions=home_cautions([self._part(self.ids[n]) for n in dear], self.knowledge),
        )

    def work(self, key: str) -> Iterator[tuple[int, tuple[str, ...], float]]:
        """State, jobs and the chance that this buyer has them done in the first year."""
        fault = self.knowledge.faults.get(key)
        if fault is not None:
            yield 1, fault.jobs.minor, fault.pay.chance("minor", self.buyer.purpose) * self.thrift
            yield 2, fault.jobs.major, fault.pay.chance("major", self.buyer.purpose)
        else:
            service = self.knowledge.services[key]
            yield 1, (service.job,), service.pay

    def _part(self, key: str) -> Fault | Service:
        return self.knowledge.faults.get(key) or self.knowledge.services[key]

    def _told(self, key: str, tables: Tables, v: int, bad: float) -> tuple[bool, tuple[Reason, ...]]:
        """Whether the advert owns up to an item, and why the belief stands where it stands."""
        item = self._part(key)
        signs, weights = tables.signs[v], tables.weights[key][v]
        admission = self.knowledge.admission
        said = bad >= admission.belief and any(
            claim.status in ADMITS and claim.origin in ADVERT_ORIGINS
            for link in item.speaks
            if link.share >= admission.share
            for claim in signs.by_subject.get(link.subject, ())
        )
        renewed = tables.renewals[key].get(v)
        dated = isinstance(item, Service) and renewed is not None and bad >= admission.dated
        return dated or said, item_reasons(item, signs, weights, renewed, bad)

    def _parts(self) -> Parts:
        parts = [self._part(key) for key in self.ids]
        blind = self.knowledge.assumed.service_seen
        return Parts(
            self.ids,
            tuple(part.name for part in parts),
            tuple(part.group if isinstance(part, Fault) else "service" for part in parts),
            tuple("fault" if isinstance(part, Fault) else "service" for part in parts),
            tuple(self.reports.subjects[key] for key in self.ids),
            tuple(part.seen.on_viewing if isinstance(part, Fault) else blind for part in parts),
        )


def build_network(knowledge: Knowledge) -> Network:
    """The knowledge's faults and services as a network: causes and neglected services as noisy-MAX links."""
    nodes = [Node(key) for key in knowledge.services]
    fed: dict[str, list[Link]] = {}
    for key, service in knowledge.services.items():
        for feeds in service.feeds:
            row = (1 - feeds.minor - feeds.major, feeds.minor, feeds.major)
            fed.setdefault(feeds.fault, []).append(Link(key, (SOUND, row, row)))
    for key, fault in knowledge.faults.items():
        links = list(fed.get(key, ()))
        for parent in dict.fromkeys(cause.fault for cause in fault.causes):
            rows = {c.when: (1 - c.minor - c.major, c.minor, c.major) for c in fault.causes if c.fault == parent}
            # What a minor fault brings, a major one brings too, unless the rules say otherwise.
            minor = rows.get("minor", SOUND)
            links.append(Link(parent, (SOUND, minor, rows.get("major", minor))))
        nodes.append(Node(key, tuple(links)))
    priors = {key: dict(root.prior) for key, root in knowledge.roots.items()}
    return Network(priors, tuple(nodes))


__all__ = ["SAMPLES", "SEED", "Engine", "Solved", "build_network", "estimate"]
