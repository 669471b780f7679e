"""What work costs: hours and parts of every job for every sample, shared dismantling paid once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

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

    def alone(self, job: str) -> Array:
        """Cost of one job done alone, dismantling counted in full, shape (samples,)."""
        total: Array = self.labour[job] + self.parts[job]
        return total + sum((self.access[group] for group in self.needs[job]), np.zeros(1))

    def mean(self, job: str) -> float:
        """Expected cost of one job done alone."""
        return float(self.alone(job).mean())


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


def put_off(knowledge: Knowledge, buyer: Buyer, items: Array) -> Array:
    """Item costs, (samples, items), where much to do at once is done more cheaply or waits (rules/money)."""
    rule, money = knowledge.money.put_off, knowledge.money
    value = buyer.guide_price or buyer.budget_total
    if value is None:
        try:
            value = money.exchange(money.thrift.full_value, money.base, buyer.currency)
        except KeyError:  # no rate: the bill stands in full rather than against a guess
            return items
    most, total = rule.share_of_value * value, items.sum(axis=1)
    if rule.beyond == 1 or total.max() <= most:
        return items
    share = np.where(total > most, (most + rule.beyond * (total - most)) / np.maximum(total, 1e-9), 1.0)
    return np.asarray(items * share[:, None])


def _paid_share(job: Job, buyer: Buyer, done: float) -> float:
    return 1.0 - done * job.diy_share if buyer.does_own_work and not job.diy_unwise else 1.0


def item_costs(costs: JobCosts, wanted: Sequence[Sequence[tuple[Sequence[str], NDArray[np.intp]]]]) -> Array:
    """Cost of every item in every sample, shape (samples, items).

    `wanted[i]`: for item i, pairs of jobs and the samples, as indices, in which they are done for its sake. A job
    wanted by two items is done once, and dismantling that several jobs share is paid once; both are split evenly.
    """
    samples = len(next(iter(costs.parts.values())))
    asked: dict[str, Array] = {}
    for item in wanted:
        for jobs, where in item:
            for job in jobs if len(where) else ():
                if job not in asked:
                    asked[job] = np.zeros(samples)
                asked[job][where] += 1.0
    opened: dict[str, Array] = {}
    for job, count in asked.items():
        for group in costs.needs[job]:
            if group not in opened:
                opened[group] = np.zeros(samples)
            opened[group] += count > 0
    result = np.zeros((len(wanted), samples))
    for i, item in enumerate(wanted):
        for jobs, where in item:
            for job in jobs if len(where) else ():
                result[i, where] += _one_of(costs, job, where, asked[job], opened)
    return result.T


def _one_of(costs: JobCosts, job: str, where: NDArray[np.intp], count: Array, opened: Mapping[str, Array]) -> Array:
    """One item's part of a job at some samples: shared dismantling and shared jobs split evenly."""
    slow: Array | float = 1.0  # a welder who is set up does the next panel faster
    total: Array | float = costs.parts[job][where]
    for group in costs.needs[job]:
        jobs_open = opened[group][where]
        total = total + costs.access[group][where] / jobs_open
        if costs.again[group] < 1:
            slow = np.minimum(slow, (1 + costs.again[group] * (jobs_open - 1)) / jobs_open)
    part: Array = (total + costs.labour[job][where] * slow) / count[where]
    return part


def capped(costs: JobCosts, items: Array, assemblies: Sequence[tuple[str, Sequence[int]]]) -> Array:
    """Item costs, (samples, items), where no assembly costs more than replacing it.

    `assemblies`: the job that replaces one, and the columns of the faults inside it. Where together they cost more,
    each is brought down in proportion: nobody mends a worn engine piece by piece for the price of two.
    """
    result = items
    for job, columns in assemblies:
        together = sum((items[:, column] for column in columns), np.zeros(len(items)))
        most = costs.alone(job)
        where = np.flatnonzero(together > most)
        if len(where):
            result = result.copy(order="K") if result is items else result
            result[np.ix_(where, np.array(columns))] *= (most[where] / together[where])[:, None]
    return result
