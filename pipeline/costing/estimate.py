"""From evidence to the distribution of the repair cost in the buyer's first year, for many vehicles at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.inference import Solved, solve
from pipeline.costing.jobs import JobCosts, item_costs, job_costs
from pipeline.costing.network import Link, Network, Node
from pipeline.costing.reasons import assumptions, contradictions, item_reasons
from pipeline.costing.reports import ADMITS, Reports, Weight
from pipeline.costing.signs import Renewal, Signs, read_signs
from pipeline.costing.wear import fault_wear, fits, service_wear
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.schemas.region import Region
from pipeline.types import Buyer, Evidence, ItemBelief, RepairEstimate
from pipeline.uniforms import columns

Array = NDArray[np.float64]

SAMPLES = 4000  # percentiles stay within 2 % between seeds (tests/costing); stratified columns help
SEED = 20261
TOGETHER = 64  # vehicles solved at once: bounds memory, costs no speed
SOUND = (1.0, 0.0, 0.0)
ADMITTED_BELIEF = 0.35  # an item is the advert's own admission only where the words leave it at least so likely
ADMITTED_SHARE = 0.25  # and where at least so much of what is said under the subject is about this item


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
    engine = Engine(knowledge, buyer, samples, seed)
    for start in range(0, len(evidence), TOGETHER):
        yield from engine.run(evidence[start : start + TOGETHER])


@dataclass(frozen=True, slots=True)
class _Read:
    """One vehicle's tables, ready for the network."""

    signs: Signs
    wear: dict[str, Array]
    likelihood: dict[str, Array]
    weights: dict[str, list[Weight]]
    renewals: dict[str, Renewal | None]


class Engine:
    """The network, the job costs and the common random numbers of one run."""

    def __init__(self, knowledge: Knowledge, buyer: Buyer, samples: int, seed: int) -> None:
        self.knowledge, self.buyer = knowledge, buyer
        self.region: Region = knowledge.regions[buyer.region]
        self.network = build_network(knowledge)
        self.reports = Reports(knowledge, self.region)
        self.costs: JobCosts = job_costs(knowledge, self.region, buyer, samples, seed)
        self.ids = tuple(node.id for node in self.network.nodes)
        self.state_uniforms = columns(["roots", *(f"state {i}" for i in self.ids)], samples, seed)
        self.pay_uniforms = columns([f"pay {i}" for i in self.ids], samples, seed)

    def beliefs(self, evidence: Sequence[Evidence]) -> list[dict[str, Array]]:
        """Only the posteriors: for each vehicle, item -> P(sound, minor, major)."""
        reads = [self._read(one) for one in evidence]
        marginals = self._solve(reads).marginals()
        return [{i: marginals[i][v] for i in self.ids} for v in range(len(reads))]

    def run(self, evidence: Sequence[Evidence]) -> Iterator[RepairEstimate]:
        """Estimates of at most `TOGETHER` vehicles."""
        reads = [self._read(one) for one in evidence]
        if not reads:
            return
        solved = self._solve(reads)
        marginals, posterior = solved.marginals(), solved.roots()
        _, states = solved.sample(self.state_uniforms)
        for v, read in enumerate(reads):
            belief = {i: marginals[i][v] for i in self.ids}
            root_belief = {
                key: dict(zip(root.prior, map(float, posterior[key][v]), strict=True))
                for key, root in self.knowledge.roots.items()
            }
            yield self._estimate(read, belief, root_belief, states[v])

    def _solve(self, reads: Sequence[_Read]) -> Solved:
        wear = {i: np.stack([read.wear[i] for read in reads]) for i in self.ids}
        likelihood = {i: np.stack([read.likelihood[i] for read in reads]) for i in self.ids}
        roots = {
            key: np.stack([self.reports.root(root, read.signs) for read in reads])
            for key, root in self.knowledge.roots.items()
        }
        return solve(self.network, wear, roots, likelihood)

    def _read(self, evidence: Evidence) -> _Read:
        signs = read_signs(evidence, self.knowledge)
        read = _Read(signs, {}, {}, {}, {})
        for key, fault in self.knowledge.faults.items():
            read.wear[key], read.renewals[key] = fault_wear(self.network, fault, signs)
            said, read.weights[key] = self.reports.fault(fault, signs)
            read.likelihood[key] = said * fits(read.wear[key], fault.applies.chance(signs.traits))
        for key, service in self.knowledge.services.items():
            read.wear[key], read.renewals[key] = service_wear(self.network, service, signs)
            said, read.weights[key] = self.reports.service(service, signs)
            read.likelihood[key] = said * fits(read.wear[key], service.applies.chance(signs.traits))
        for key, state in evidence.findings.items():
            if key in read.likelihood:
                read.likelihood[key] = np.broadcast_to(found(state), read.wear[key].shape)
        return read

    def _estimate(
        self, read: _Read, belief: dict[str, Array], roots: dict[str, dict[str, float]], states: NDArray[np.int8]
    ) -> RepairEstimate:
        wanted = []
        for column, key in enumerate(self.ids):
            pay, state = self.pay_uniforms[:, column], states[:, column]
            wanted.append([(jobs, (state == n) & (pay < chance)) for n, jobs, chance in self._work(key)])
        costs = item_costs(self.costs, wanted)
        expected = costs.mean(axis=0)
        items = tuple(
            self._item(key, read, belief[key], float(expected[column])) for column, key in enumerate(self.ids)
        )
        admitted = sum(item.expected_cost for item in items if item.admitted)
        return RepairEstimate(
            ref=read.signs.evidence.ref,
            items=items,
            item_costs=costs.astype(np.float32),
            roots=roots,
            admitted_mean=admitted,
            unsaid_mean=float(expected.sum()) - admitted,
            assumptions=assumptions(read.signs, self.knowledge, self.buyer, self.region),
            contradictions=contradictions(read.signs),
        )

    def _work(self, key: str) -> Iterator[tuple[int, tuple[str, ...], float]]:
        """State, jobs and the chance that this buyer has them done in the first year."""
        fault = self.knowledge.faults.get(key)
        if fault is not None:
            yield 1, fault.jobs.minor, fault.pay.chance("minor", self.buyer.purpose)
            yield 2, fault.jobs.major, fault.pay.chance("major", self.buyer.purpose)
        else:
            service = self.knowledge.services[key]
            yield 1, (service.job,), service.pay

    def _item(self, key: str, read: _Read, belief: Array, expected: float) -> ItemBelief:
        sound, minor, major = (float(p) for p in belief)
        item: Fault | Service = self.knowledge.faults.get(key) or self.knowledge.services[key]
        is_fault = isinstance(item, Fault)
        shares = {link.subject: link.share for link in item.speaks}
        said = any(
            claim.status in ADMITS and shares[subject] >= ADMITTED_SHARE
            for subject in shares
            for claim in read.signs.by_subject.get(subject, ())
        )
        return ItemBelief(
            item=key,
            name=item.name,
            group=item.group if isinstance(item, Fault) else "service",
            kind="fault" if is_fault else "service",
            sound=sound,
            minor=minor,
            major=major,
            expected_cost=expected,
            admitted=said and minor + major >= ADMITTED_BELIEF,
            subjects=self.reports.subjects[key],
            seen_on_viewing=item.seen.on_viewing if isinstance(item, Fault) else 0.3,
            reasons=item_reasons(item, read.signs, read.weights[key], read.renewals[key], minor + major),
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


def found(state: str) -> Array:
    """Likelihood of a state that was seen at a viewing: almost certain, since eyes err too."""
    row = np.full(3, 0.02)
    row[("sound", "minor", "major").index(state)] = 0.96
    return row


__all__ = ["SAMPLES", "SEED", "Engine", "Solved", "build_network", "estimate"]
