"""Only what is not nought is reckoned with, and it comes to what reckoning with everything comes to."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.costing.estimate import Engine
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.types import Buyer, Draws

KNOWLEDGE = load_knowledge(["general"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0, budget_total=4000)
SAMPLES = 300


def in_full(engine: Engine, states: NDArray[np.int8]) -> NDArray[np.float64]:
    """The same sample by sample and item by item, in plain words. `states`: (samples, items)."""
    found, costs, rule = np.zeros(states.shape), engine.costs, KNOWLEDGE.money.put_off
    work = {(key, state): (jobs, chance) for key in engine.ids for state, jobs, chance in engine.work(key)}
    for s, row in enumerate(states):
        wanted: list[tuple[int, str]] = []
        for n, key in enumerate(engine.ids):
            jobs, chance = work.get((key, int(row[n])), ((), 0.0))
            if engine.pay_uniforms[n, s] < chance:
                wanted += [(n, job) for job in jobs]
        asked = [job for _, job in wanted]
        opened = [group for job in dict.fromkeys(asked) for group in costs.needs[job]]
        for n, job in wanted:
            parts, slow = costs.parts[job][s], 1.0
            for group in costs.needs[job]:
                several = opened.count(group)
                parts += costs.access[group][s] / several
                slow = min(slow, (1 + costs.again[group] * (several - 1)) / several)
            found[s, n] += (parts + costs.labour[job][s] * slow) / asked.count(job)
        for job, inside in engine.assemblies:
            together, most = found[s, inside].sum(), costs.alone(job)[s]
            if together > most:
                found[s, inside] *= most / together
        total, most = found[s].sum(), rule.share_of_value * (engine.buyer.guide_price or engine.buyer.budget_total or 0)
        if total > most:
            found[s] *= (most + rule.beyond * (total - most)) / total
    return found


@pytest.mark.parametrize("buyer", [BUYER, replace(BUYER, does_own_work=True, purpose="original")])
@pytest.mark.parametrize("bad", [0.02, 0.3, 0.9])
def test_it_comes_to_the_same_as_reckoning_with_everything(buyer: Buyer, bad: float) -> None:
    engine, rng = Engine(KNOWLEDGE, buyer, SAMPLES, 3), np.random.default_rng(1)
    states = rng.choice(3, (SAMPLES, len(engine.ids)), p=[1 - bad, bad / 2, bad / 2]).astype(np.int8)
    services = [n for n, key in enumerate(engine.ids) if key in KNOWLEDGE.services]
    states[:, services] = np.minimum(states[:, services], 1)
    assert np.allclose(engine.item_costs(states), in_full(engine, states), rtol=1e-12, atol=0)


def test_a_packed_array_is_the_array() -> None:
    rng = np.random.default_rng(2)
    array = np.where(rng.random((500, 7)) < 0.1, rng.random((500, 7)), 0.0)
    array[:, 3] = 0.0
    draws = Draws.of(array)
    assert (draws.dense() == array).all()
    assert draws.total() == pytest.approx(array.sum(axis=1), rel=1e-14)
    assert (draws.packed().dense() == array.astype(np.float32)).all()
    tiny = Draws.of(np.array([[1e-60, 2.0]]))
    assert tiny.packed().counts.tolist() == [0, 1]
