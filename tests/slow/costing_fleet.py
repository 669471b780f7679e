"""A fleet drawn from the rules: hidden states, what they cost, and one report for each thing that speaks of an item."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.estimate import ANY, Engine
from pipeline.costing.inference import solve
from pipeline.costing.learning import faster, neglected
from pipeline.costing.reports import SERVICE_STATES
from pipeline.costing.signs import Fleet, read_fleet
from pipeline.costing.wear import fault_wear, fits, service_wear
from pipeline.schemas.evidence import ReportTable, Speaks
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.types import STATES, Evidence

Array = NDArray[np.float64]
AS_OF = date(2026, 10, 31)
SILENCE = ("silence", "")


@dataclass(frozen=True, slots=True)
class Drawn:
    """Some vehicles. `states`: (vehicles, items); `roots`: (vehicles,) joint root states; `reports`: for each link of
    each item (item, position), the index of what was said, (vehicles,); `root_reports`: (root, position) likewise."""

    evidence: tuple[Evidence, ...]
    states: NDArray[np.int8]
    roots: NDArray[np.intp]
    cost: Array
    reports: Mapping[tuple[str, int], NDArray[np.intp]]
    root_reports: Mapping[tuple[str, int], NDArray[np.intp]]


@dataclass(frozen=True)
class Words:
    """What may be said: rows P(it | state), (states, cells), of every link (item, position) and (root, position)."""

    links: Mapping[tuple[str, int], Array]
    roots: Mapping[tuple[str, int], Array]

    @staticmethod
    def of(knowledge: Knowledge) -> Words:
        """The words of a knowledge."""
        links, roots = {}, {}
        for key, item in _items(knowledge).items():
            for position, link in enumerate(item.speaks):
                links[key, position] = _link_rows(knowledge, link, key in knowledge.faults)
        for key, root in knowledge.roots.items():
            for position, report in enumerate(root.claims):
                roots[key, position] = _rows(knowledge.tables[report.table], tuple(root.prior))
        return Words(links, roots)


def silent_vehicles(rng: np.random.Generator, count: int) -> tuple[Evidence, ...]:
    """Vehicles of random age and mileage, of which nothing is said yet."""
    age, yearly = rng.uniform(8, 40, count), rng.uniform(2500, 11000, count)
    fuels = rng.choice(["petrol", "diesel"], count)
    return tuple(
        Evidence(str(n), {"year": [2026 - round(a)], "fuel": str(f)}, (), a, a * m, AS_OF, 80)
        for n, (a, m, f) in enumerate(zip(age.tolist(), yearly.tolist(), fuels, strict=True))
    )


def draw(engine: Engine, words: Words, evidence: Sequence[Evidence], rng: np.random.Generator) -> Drawn:
    """The vehicles as the rules make them: parts that are not fitted are sound, jobs cost what they happen to cost."""
    fleet, network = read_fleet(evidence, engine.knowledge), engine.network
    wear, fitted = _wear_and_fit(engine, fleet)
    solved = solve(network, wear, {}, fitted)
    # One draw a vehicle: sample v is of vehicle v.
    where, states = solved.sample(rng.random((len(evidence), 1 + len(engine.ids))))
    each = np.arange(len(evidence))
    mine, configs = states[each, each], where[each, each]
    costs = engine.item_costs(mine).sum(axis=1)
    column = {key: n for n, key in enumerate(engine.ids)}
    reports = {at: _pick(rows[mine[:, column[at[0]]]], rng) for at, rows in words.links.items()}
    place = {root: n for n, root in enumerate(engine.knowledge.roots)}
    state = np.array(network.configs)[configs]
    told = {at: _pick(rows[state[:, place[at[0]]]], rng) for at, rows in words.roots.items()}
    return Drawn(tuple(evidence), mine, configs, costs, reports, told)


def believe(engine: Engine, words: Words, drawn: Drawn, samples: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """What the engine makes of the reports: beliefs (vehicles, items, 3) and costs (vehicles, samples).

    The engine's own draws are cut into one piece a vehicle: it must have vehicles times `samples` of them.
    """
    fleet = read_fleet(drawn.evidence, engine.knowledge)
    wear, likelihood = _wear_and_fit(engine, fleet)
    for at, rows in words.links.items():
        likelihood[at[0]] = likelihood[at[0]] * rows[:, drawn.reports[at]].T[:, None, :]
    roots: dict[str, Array] = {}
    for at, rows in words.roots.items():
        roots[at[0]] = roots.get(at[0], 1.0) * rows[:, drawn.root_reports[at]].T
    solved = solve(engine.network, wear, roots, likelihood)
    marginals = solved.marginals()
    _, states = solved.sample(rng.random((samples, 1 + len(engine.ids))))
    costs = engine.item_costs(states.reshape(-1, len(engine.ids))).sum(axis=1)
    return np.stack([marginals[i] for i in engine.ids], axis=1), costs.reshape(len(drawn.evidence), samples)


def _link_rows(knowledge: Knowledge, link: Speaks, is_fault: bool) -> Array:
    """P(what is said | state), (3, cells): `share` of the table's row, the rest its base. A service has two states."""
    table = knowledge.tables[link.table]
    rows = _rows(table, STATES if is_fault else SERVICE_STATES)
    mixed = link.share * rows + (1 - link.share) * _rows(table, ("base",))
    return mixed if is_fault else np.vstack([mixed, mixed[1:]])


def wrong(knowledge: Knowledge, rng: np.random.Generator, most: float) -> Knowledge:
    """The knowledge with every rate wrong by its own random factor between 1/`most` and `most`."""

    def factor() -> float:
        return float(most ** rng.uniform(-1, 1))

    faults = {}
    for key, fault in knowledge.faults.items():
        causes = []
        for cause in fault.causes:
            times = min(factor(), 0.999 / max(cause.minor + cause.major, 1e-9))
            causes.append(cause.model_copy(update={"minor": cause.minor * times, "major": cause.major * times}))
        faults[key] = faster(fault, factor()).model_copy(update={"causes": tuple(causes)})
    services = {}
    for key, service in knowledge.services.items():
        feeds = []
        for fed in service.feeds:
            times = min(factor(), 0.999 / max(fed.minor + fed.major, 1e-9))
            feeds.append(fed.model_copy(update={"minor": fed.minor * times, "major": fed.major * times}))
        services[key] = neglected(service, factor()).model_copy(update={"feeds": tuple(feeds)})
    tables = {key: _wrong_table(table, factor) for key, table in knowledge.tables.items()}
    return replace(knowledge, faults=faults, services=services, tables=tables)


def _wrong_table(table: ReportTable, factor: Callable[[], float]) -> ReportTable:
    rows = {}
    for state in table.rows:
        cells = {cell: chance * (1.0 if cell == SILENCE else factor()) for cell, chance in table.cells(state).items()}
        total = sum(cells.values())
        row: dict[str, float | dict[str, float]] = {}
        for (status, grade), chance in cells.items():
            if status == "silence":
                row["silence"] = chance / total
            else:
                row.setdefault(status, {})[grade] = chance / total  # type: ignore[index]
        rows[state] = row
    return table.model_copy(update={"rows": rows})


def _wear_and_fit(engine: Engine, fleet: Fleet) -> tuple[dict[str, Array], dict[str, Array]]:
    wear, fitted = {}, {}
    for key, item in _items(engine.knowledge).items():
        make = fault_wear if isinstance(item, Fault) else service_wear
        wear[key], _ = make(engine.network, item, fleet)  # type: ignore[operator]
        one = np.ones((len(fleet.signs), 1, 3))
        chance = np.array([item.applies.chance(signs.traits) for signs in fleet.signs])
        fitted[key] = one if item.applies == ANY else fits(wear[key], chance)
    return wear, fitted


def _items(knowledge: Knowledge) -> dict[str, Fault | Service]:
    return {**knowledge.services, **knowledge.faults}


def _rows(table: ReportTable, states: Sequence[str]) -> Array:
    cells = sorted({cell for state in table.rows for cell in table.cells(state)})
    return np.array([[table.cells(state).get(cell, 0.0) for cell in cells] for state in states])


def _pick(chances: Array, rng: np.random.Generator) -> NDArray[np.intp]:
    edges = np.cumsum(chances, axis=1)
    return (rng.random(len(chances))[:, None] * edges[:, -1:] >= edges).sum(axis=1)
