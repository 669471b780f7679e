"""P(what the advert says | state): likelihoods of claims, of silence, of facts and of viewings' findings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.signs import Signs
from pipeline.schemas.evidence import FactTable, ReportTable, Speaks
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Root, Service
from pipeline.schemas.region import Region
from pipeline.types import STATES, Claim

Array = NDArray[np.float64]

ADMITS = ("present", "due", "possible")
SERVICE_STATES = ("kept", "overdue")
TEST_TABLE = "test_result"


@dataclass(frozen=True, slots=True)
class Weight:
    """One thing said (or not said) and how far it moved the belief: the log of P(it | bad) over P(it | sound)."""

    subject: str
    claim: Claim | None
    table: str
    log_ratio: float


class Reports:
    """The report tables of a knowledge, laid out for quick look-up."""

    def __init__(self, knowledge: Knowledge, region: Region) -> None:
        self._knowledge, self._region = knowledge, region
        self._cells: dict[tuple[str, str], dict[tuple[str, str], float]] = {}
        self._rows: dict[tuple[object, ...], Array] = {}  # what was worked out before: silence mostly
        self._log_moved: dict[tuple[object, ...], Array] = {}
        self._silent: dict[tuple[object, ...], tuple[Array, list[Weight]]] = {}  # items of which nothing is said
        items: dict[str, Fault | Service] = {**knowledge.faults, **knowledge.services}
        self._about = {key: frozenset(link.subject for link in item.speaks) for key, item in items.items()}
        self._roots = {
            key: [Speaks(subject=r.subject, table=r.table) for r in root.claims]
            for key, root in knowledge.roots.items()
        }

    def fault(self, fault: Fault, signs: Signs) -> tuple[Array, list[Weight]]:
        """Likelihood of all that the advert says of one fault, shape (3,), and what moved it."""
        if self._about[fault.id].isdisjoint(signs.by_subject):
            known = (fault.id, signs.silence_power, signs.derived.get("test"))
            if known not in self._silent:
                self._silent[known] = self._fault(fault, signs)
            return self._silent[known]
        return self._fault(fault, signs)

    def _fault(self, fault: Fault, signs: Signs) -> tuple[Array, list[Weight]]:
        rows, weights = self._speaks(fault.speaks, STATES, signs, signs.silence_power)
        if fault.test_area in self._region.test.areas and fault.fails_test != "never":
            table = self._knowledge.fact_tables.get(TEST_TABLE)
            outcome = table.outcome(signs.derived.get("test")) if table else None
            if table and outcome:
                row = np.array([table.rows[state][outcome] for state in STATES])
                if fault.fails_test == "major":
                    row[1] = row[0]
                rows = rows * row
                weights.append(Weight("roadworthiness", None, TEST_TABLE, float(np.log(row[2] / row[0]))))
        return rows / rows.max(), weights

    def service(self, service: Service, signs: Signs) -> tuple[Array, list[Weight]]:
        """Likelihood of all that the advert says of one service, shape (3,), overdue standing as `minor`."""
        known = (service.id, signs.silence_power)
        silent = self._about[service.id].isdisjoint(signs.by_subject)
        if silent and known in self._silent:
            return self._silent[known]
        rows, weights = self._speaks(service.speaks, SERVICE_STATES, signs, signs.silence_power)
        found = np.array([*(rows / rows.max()), 0.0]), weights
        if silent:
            self._silent[known] = found
        return found

    def root(self, root: Root, signs: Signs) -> Array:
        """Likelihood of facts and claims that bear on a hidden root, in the order of its states."""
        states = tuple(root.prior)
        rows, _ = self._speaks(self._roots[root.id], states, signs)
        for name in root.facts:
            table: FactTable = self._knowledge.fact_tables[name]
            outcome = table.outcome(signs.derived.get(table.fact))
            if outcome is not None:
                rows = rows * np.array([table.rows[state][outcome] for state in states])
        return np.asarray(rows / rows.max())

    def moved(self, item: Fault | Service, weight: Weight, factor: float) -> Array:
        """By how much a likelihood changes, shape (3,), when its chance given a bad part is `factor` times as great.

        Of silence it is the chance of saying something that changes.
        """
        link = next(link for link in item.speaks if link.subject == weight.subject)
        status, grade = (weight.claim.status, weight.claim.grade) if weight.claim else ("silence", "")
        states = STATES if isinstance(item, Fault) else SERVICE_STATES
        share = link.share_of(weight.claim.quote) if weight.claim else link.share
        found = np.ones(3)
        for n, state in enumerate(states[1:], 1):
            chance = max(self._at(weight.table, state, (status, grade)), 1e-9)
            other = chance * factor if weight.claim else max(1 - factor * (1 - chance), 0.01)
            rest = (1 - share) * self._at(weight.table, "base", (status, grade))
            found[n] = (share * other + rest) / (share * chance + rest)
        return found

    def log_moved(self, item: Fault | Service, weight: Weight, factor: float) -> Array:
        """Logarithms of what `moved` gives for minor and major, the chance divided and multiplied: shape (2, 2)."""
        known = (item.id, weight.subject, weight.table, factor)
        found = self._log_moved.get(known) if weight.claim is None else None  # words are too many to keep
        if found is None:
            found = np.log([self.moved(item, weight, by)[1:] for by in (1 / factor, factor)])
            if weight.claim is None:
                self._log_moved[known] = found
        return found

    def _speaks(
        self, speaks: Sequence[Speaks], states: tuple[str, ...], signs: Signs, candour: float = 1.0
    ) -> tuple[Array, list[Weight]]:
        rows, weights = np.ones(len(states)), []
        if any(c.status in ADMITS for link in speaks for c in signs.by_subject.get(link.subject, ())):
            candour = min(candour, signs.least_power)  # candour clears what is not named, never what is
        for link in speaks:
            said = [c for c in signs.by_subject.get(link.subject, ()) if not (link.renews and c.status == "done")]
            silent = link.subject not in signs.by_subject
            # Opposite statements are of different parts or times: each then tells half as much.
            against = len({c.status in ADMITS for c in said if c.status in ("absent", *ADMITS)}) == 2
            words: list[Claim | None] = [*said] if said or not silent else [None]
            for claim in words:
                row = self._row(link, states, claim, signs, candour)
                power = 0.5 if against and claim is not None and claim.status in ("absent", *ADMITS) else 1.0
                if claim is not None and claim.status in ("absent", "done"):
                    power *= signs.proof
                rows = rows * (row if power == 1.0 else row**power)
                ratio = math.log(row[-1] / row[0]) * power
                weights.append(Weight(link.subject, claim, link.table, ratio))
        return rows, weights

    def _row(self, link: Speaks, states: tuple[str, ...], claim: Claim | None, signs: Signs, candour: float) -> Array:
        told = link.persists if claim is not None and claim.status in ADMITS else None
        if told and any(other.status == "done" for other in signs.by_subject[link.subject]):
            link = link.model_copy(update={"share": told.share, "table": told.table or link.table, "words": {}})
        table = self._knowledge.tables[link.table]
        if claim is None:
            key, share = ("silence", ""), link.share
        else:
            status: str = claim.status
            if status == "done" and self._is_old(table, claim, signs):
                status = "done_old"
            key, share = (status, claim.grade), link.share_of(claim.quote) * claim.confidence
        known = (link.table, states, key, share, link.share, candour)
        row = self._rows.get(known)
        if row is None:
            row = self._mixed(link.table, states, key, share)
            if candour != 1.0:
                silent = row if claim is None else self._mixed(link.table, states, ("silence", ""), link.share)
                row = silent**candour if claim is None else row * (1 - silent**candour) / (1 - silent)
            self._rows[known] = row
        return row

    def _mixed(self, table: str, states: Sequence[str], key: tuple[str, str], share: float) -> Array:
        base = self._at(table, "base", key) if share < 1 else 0.0
        return np.array([max(share * self._at(table, s, key) + (1 - share) * base, 1e-9) for s in states])

    def _at(self, table: str, state: str, key: tuple[str, str]) -> float:
        cells = self._cells.get((table, state))
        if cells is None:
            rows = self._knowledge.tables[table]
            cells = rows.cells(state) if state in rows.rows else {}
            self._cells[table, state] = cells
        return cells.get(key, 0.0)

    def _is_old(self, table: ReportTable, claim: Claim, signs: Signs) -> bool:
        if table.old_after_years is None:
            return False
        quote = claim.quote.lower()
        if any(word in quote for word in table.old_words):
            return True
        return claim.at_year is not None and signs.evidence.as_of.year - claim.at_year >= table.old_after_years

    @cached_property
    def subjects(self) -> Mapping[str, tuple[str, ...]]:
        """Item id -> the subjects that speak of it, most telling first."""
        items: dict[str, Fault | Service] = {**self._knowledge.faults, **self._knowledge.services}
        return {
            key: tuple(link.subject for link in sorted(item.speaks, key=lambda link: -link.share))
            for key, item in items.items()
        }
