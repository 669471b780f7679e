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
        self._several: set[str] = set()  # jobs that may be wanted more than once
        for one in work:
            self._paid[one.column] |= (pay[one.column] < one.chance).astype(np.int8) * np.int8(one.state)
            self._several |= {job for job in one.jobs if len(wanted_by[job]) > 1 or one.jobs.count(job) > 1}
            if any(costs.needs[job] or job in self._several for job in one.jobs):
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
        nobody = np.zeros(self._price.shape[-1])
        asked: dict[str, Array] = {}
        opened: dict[str, Array] = {group: nobody.copy() for group in self.costs.access}
        wanted: list[tuple[Work, Places, Places]] = []
        for work in self._shared:
            mine = items[work.column]
            at = mine.start + np.flatnonzero(kinds[mine] == work.state)
            if len(at):
                where = rows[at]
                wanted.append((work, at, where))
                for job in work.jobs:
                    if job in self._several:
                        asked.setdefault(job, nobody.copy())[where] += 1.0
                    else:
                        for group in self.costs.needs[job]:
                            opened[group][where] += 1.0
        for job, count in asked.items():
            for group in self.costs.needs[job]:
                opened[group] += count > 0
        dismantling = self._dismantling(opened)
        for work, at, where in wanted:
            total = np.zeros(len(at))
            for job in work.jobs:
                total += self._one_of(job, where, asked.get(job), dismantling)
            amounts[at] = total

    def _dismantling(self, opened: Mapping[str, Array]) -> dict[str, tuple[Array, Array | None]]:
        """What a job pays of each dismantling, by how many jobs share it, and by how much it is done faster then."""
        found: dict[str, tuple[Array, Array | None]] = {}
        for group, jobs in opened.items():
            jobs_open, again = np.maximum(jobs, 1.0), self.costs.again[group]
            # A welder who is set up does the next panel faster.
            slow = np.minimum(1.0, (1 + again * (jobs_open - 1)) / jobs_open) if again < 1 else None
            found[group] = self.costs.access[group] / jobs_open, slow
        return found

    def _one_of(
        self, job: str, where: Places, count: Array | None, dismantling: Mapping[str, tuple[Array, Array | None]]
    ) -> Array:
        """One item's part of a job at some samples: shared dismantling and shared jobs split evenly."""
        total, labour = self.costs.parts[job][where], self.costs.labour[job][where]
        slowest: Array | None = None
        for group in self.costs.needs[job]:
            access, slow = dismantling[group]
            total = total + access[where]
            if slow is not None:
                slowest = slow[where] if slowest is None else np.minimum(slowest, slow[where])
        total = total + (labour if slowest is None else labour * slowest)
        return total if count is None else np.asarray(total / count[where])

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
