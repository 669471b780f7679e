"""What work costs: hours and parts of every job for every sample, shared dismantling paid once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.three_point import draw
from pipeline.schemas.knowledge_parts import Job, Knowledge
from pipeline.schemas.region import Region
from pipeline.types import Buyer
from pipeline.uniforms import column

Array = NDArray[np.float64]


@dataclass(frozen=True)
class JobCosts:
    """Buyer's currency, (samples,) each: `labour[j]` and `parts[j]` of a job without its dismantling, `access[g]`."""

    labour: Mapping[str, Array]
    parts: Mapping[str, Array]
    access: Mapping[str, Array]
    needs: Mapping[str, tuple[str, ...]]  # job -> access groups
    again: Mapping[str, float]  # access group -> share of their hours that jobs after the first take
    _means: dict[str, float] = field(init=False, repr=False, compare=False, default_factory=dict)

    def alone(self, job: str) -> Array:
        """Cost of one job done alone, dismantling counted in full, shape (samples,)."""
        total: Array = self.labour[job] + self.parts[job]
        return total + sum((self.access[group] for group in self.needs[job]), np.zeros(1))

    def mean(self, job: str) -> float:
        """Expected cost of one job done alone."""
        if job not in self._means:
            self._means[job] = float(self.alone(job).mean())
        return self._means[job]


def job_costs(knowledge: Knowledge, region: Region, buyer: Buyer, samples: int, seed: int) -> JobCosts:
    """Draws every job's hours and parts once for all vehicles, at the buyer's labour rate.

    A buyer who does their own work saves `diy_share` of the labour of what they get round to (`own_work`), except
    where the rules say why nobody should do the job at home. Parts come in the region's money and are put into the
    buyer's. Where the kind of vehicle sought is cheap, all of it costs the share that `thrift` gives.
    """
    exchange = 1.0
    if region.currency != buyer.currency:
        exchange = buyer.rates.get(region.currency) or knowledge.money.exchange(1.0, region.currency, buyer.currency)
    thrifty = thrift(knowledge, buyer)
    rate = buyer.labour_rate * thrifty
    labour: dict[str, Array] = {}
    material: dict[str, Array] = {}
    shares: dict[str, list[float]] = {}
    for key, job in knowledge.jobs.items():
        paid = _paid_share(job, buyer, knowledge.money.own_work.share)
        parts = knowledge.parts(job, region)
        hours = draw(job.hours.low, job.hours.mode, job.hours.high, column(f"hours {key}", samples, seed))
        price = draw(parts.low, parts.mode, parts.high, column(f"parts {key}", samples, seed))
        labour[key] = hours * rate * paid
        material[key] = price * exchange * thrifty
        for group in job.access:
            shares.setdefault(group, []).append(paid)
    access = {}
    for key, opening in knowledge.access.items():
        hours = draw(opening.hours.low, opening.hours.mode, opening.hours.high, column(f"hours {key}", samples, seed))
        paid = float(np.mean(shares.get(key, [1.0])))
        access[key] = hours * rate * paid
    needs = {key: job.access for key, job in knowledge.jobs.items()}
    return JobCosts(labour, material, access, needs, {key: opening.again for key, opening in knowledge.access.items()})


def thrift(knowledge: Knowledge, buyer: Buyer) -> float:
    """Share of the full price that work on this kind of vehicle is done for, by the buyer's guide price or budget."""
    value = buyer.guide_price or buyer.budget_total
    if value is not None:
        try:
            value = knowledge.money.exchange(value, buyer.currency, knowledge.money.base)
        except KeyError:  # a currency that the rules have no rate for: no discount rather than a guess
            value = None
    return knowledge.money.thrift.share(value)


def put_off(knowledge: Knowledge, buyer: Buyer, total: Array) -> Array | None:
    """Share of its cost that work comes to where much to do at once is done more cheaply or waits (rules/money).

    `total`, and what is given: (samples,). None: every bill stands in full.
    """
    rule, money = knowledge.money.put_off, knowledge.money
    value = buyer.guide_price or buyer.budget_total
    if value is None:
        try:
            value = money.exchange(money.thrift.full_value, money.base, buyer.currency)
        except KeyError:  # no rate: the bill stands in full rather than against a guess
            return None
    most = rule.share_of_value * value
    if rule.beyond == 1 or total.max() <= most:
        return None
    return np.where(total > most, (most + rule.beyond * (total - most)) / np.maximum(total, 1e-9), 1.0)


def _paid_share(job: Job, buyer: Buyer, done: float) -> float:
    return 1.0 - done * job.diy_share if buyer.does_own_work and not job.diy_unwise else 1.0
