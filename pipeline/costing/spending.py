"""What a vehicle's drawn states cost this buyer. Most parts are sound in most samples: only the rest is worked on."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.jobs import JobCosts, put_off
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.types import Buyer, Draws

Array = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Work:
    """The jobs that a state of an item brings, and the chance that this buyer has them done in the first year."""

    column: int  # of the item
    state: int  # 1 minor, 2 major
    jobs: tuple[str, ...]
    chance: float


class Spending:
    """Jobs, prices and the draws of who pays, laid out over items and samples once for all vehicles."""

    def __init__(
        self,
        knowledge: Knowledge,
        buyer: Buyer,
        costs: JobCosts,
        work: Sequence[Work],
        pay: Array,
        assemblies: Sequence[tuple[str, Sequence[int]]],
    ) -> None:
        """`pay`: uniforms, (items, samples). `assemblies`: a job that replaces one, and the items inside it."""
        self.knowledge, self.buyer, self.costs = knowledge, buyer, costs
        self.assemblies = [(costs.alone(job), tuple(columns)) for job, columns in assemblies]
        wanted_by: dict[str, set[int]] = {}
        for one in work:
            for job in one.jobs:
                wanted_by.setdefault(job, set()).add(one.column)
        self._paid = np.zeros(pay.shape, np.int8)  # bit 1 where a minor state is paid for, 2 where a major one
        self._price = np.zeros((2, *pay.shape))  # of work that shares nothing with other work
        self._shared: list[Work] = []
        for one in work:
            self._paid[one.column] |= (pay[one.column] < one.chance).astype(np.int8) * np.int8(one.state)
            twice = len(set(one.jobs)) < len(one.jobs)
            if twice or any(costs.needs[job] or len(wanted_by[job]) > 1 for job in one.jobs):
                self._shared.append(one)
            else:
                for job in one.jobs:
                    self._price[one.state - 1, one.column] += costs.parts[job] + costs.labour[job]

    def of(self, states: NDArray[np.int8]) -> Draws:
        """Cost of every item in every sample, from states of shape (items, samples).

        A job wanted by two items is done once, and dismantling that several jobs share is paid once; both are split
        evenly. No assembly costs more than replacing it, and much to do at once is done more cheaply or waits.
        """
        items, samples = states.shape
        done = (states & self._paid).ravel()
        places = np.flatnonzero(done != 0)
        edges = np.searchsorted(places, np.arange(items + 1) * samples)
        counts = np.diff(edges)
        rows = places - np.repeat(np.arange(items) * samples, counts)
        kinds = done.take(places)
        amounts = self._price.take(places + (kinds == 2) * (items * samples))
        mine = [slice(start, end) for start, end in itertools.pairwise(edges.tolist())]
        self._share(rows, kinds, amounts, mine)
        self._cap(rows, amounts, mine)
        spent = Draws(samples, counts, rows, amounts)
        share = put_off(self.knowledge, self.buyer, spent.total())
        return spent if share is None else replace(spent, amounts=amounts * share.take(rows))

    def _share(self, rows: Places, kinds: NDArray[np.int8], amounts: Array, items: Sequence[slice]) -> None:
        """Fills in the cost of work that shares jobs or dismantling with other work. `items`: their entries."""
        asked: dict[str, Array] = {}
        wanted: list[tuple[Work, Places, Places]] = []
        for work in self._shared:
            mine = items[work.column]
            at = mine.start + np.flatnonzero(kinds[mine] == work.state)
            if len(at):
                where = rows[at]
                wanted.append((work, at, where))
                for job in work.jobs:
                    if job not in asked:
                        asked[job] = np.zeros(self._price.shape[-1])
                    asked[job][where] += 1.0
        opened: dict[str, Array] = {}
        for job, count in asked.items():
            for group in self.costs.needs[job]:
                if group not in opened:
                    opened[group] = np.zeros(self._price.shape[-1])
                opened[group] += count > 0
        for work, at, where in wanted:
            total = np.zeros(len(at))
            for job in work.jobs:
                total += _one_of(self.costs, job, where, asked[job], opened)
            amounts[at] = total

    def _cap(self, rows: Places, amounts: Array, items: Sequence[slice]) -> None:
        """Where the items of an assembly cost more together than replacing it, each is brought down in proportion:
        nobody mends a worn engine piece by piece for the price of two.
        """
        for most, columns in self.assemblies:
            together = np.zeros(self._price.shape[-1])
            for column in columns:
                mine = items[column]
                together[rows[mine]] += amounts[mine]
            over = together > most
            if over.any():
                scale = np.divide(most, together, out=np.ones_like(most), where=over)
                for column in columns:
                    mine = items[column]
                    amounts[mine] *= scale[rows[mine]]


def _one_of(costs: JobCosts, job: str, where: Places, count: Array, opened: Mapping[str, Array]) -> Array:
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
