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
    """Buyer's currency. `own[j]`: (samples,) hours and parts of a job without its dismantling; `access[g]` likewise."""

    own: Mapping[str, Array]
    access: Mapping[str, Array]
    needs: Mapping[str, tuple[str, ...]]  # job -> access groups

    def mean(self, job: str) -> float:
        """Expected cost of one job done alone, dismantling counted in full."""
        return float(self.own[job].mean() + sum(self.access[group].mean() for group in self.needs[job]))


def job_costs(knowledge: Knowledge, region: Region, buyer: Buyer, samples: int, seed: int) -> JobCosts:
    """Draws every job's hours and parts once for all vehicles, at the buyer's labour rate.

    A buyer who does their own work pays only the rest of the labour that `diy_share` leaves, except where the rules
    say why nobody should do the job at home. Parts come in the region's money and are put into the buyer's.
    """
    exchange = 1.0
    if region.currency != buyer.currency:
        exchange = buyer.rates.get(region.currency) or knowledge.money.exchange(1.0, region.currency, buyer.currency)
    own: dict[str, Array] = {}
    shares: dict[str, list[float]] = {}
    for key, job in knowledge.jobs.items():
        paid = _paid_share(job, buyer)
        parts = knowledge.parts(job, region)
        hours = draw(job.hours.low, job.hours.mode, job.hours.high, column(f"hours {key}", samples, seed))
        price = draw(parts.low, parts.mode, parts.high, column(f"parts {key}", samples, seed))
        own[key] = hours * buyer.labour_rate * paid + price * exchange
        for group in job.access:
            shares.setdefault(group, []).append(paid)
    access = {}
    for key, opening in knowledge.access.items():
        hours = draw(opening.hours.low, opening.hours.mode, opening.hours.high, column(f"hours {key}", samples, seed))
        paid = float(np.mean(shares.get(key, [1.0])))
        access[key] = hours * buyer.labour_rate * paid
    return JobCosts(own, access, {key: job.access for key, job in knowledge.jobs.items()})


def _paid_share(job: Job, buyer: Buyer) -> float:
    return 1.0 - job.diy_share if buyer.does_own_work and not job.diy_unwise else 1.0


def item_costs(costs: JobCosts, wanted: Sequence[Sequence[tuple[Sequence[str], NDArray[np.bool_]]]]) -> Array:
    """Cost of every item in every sample, shape (samples, items).

    `wanted[i]`: for item i, pairs of jobs and the samples, (samples,), in which they are done for its sake. A job
    wanted by two items is done once, and dismantling that several jobs share is paid once; both are split evenly.
    """
    samples = len(next(iter(costs.own.values())))
    asked: dict[str, Array] = {}
    for item in wanted:
        for jobs, mask in item:
            for job in jobs:
                asked[job] = asked[job] + mask if job in asked else mask.astype(np.float64)
    opened: dict[str, Array] = {}
    for job, count in asked.items():
        for group in costs.needs[job]:
            done = count > 0
            opened[group] = opened[group] + done if group in opened else done.astype(np.float64)
    each: dict[str, Array] = {}
    for job, count in asked.items():
        total = costs.own[job]
        for group in costs.needs[job]:
            total = total + costs.access[group] / np.maximum(opened[group], 1.0)
        each[job] = total / np.maximum(count, 1.0)
    result = np.zeros((samples, len(wanted)))
    for i, item in enumerate(wanted):
        for jobs, mask in item:
            for job in jobs:
                result[:, i] += np.where(mask, each[job], 0.0)
    return result
