"""20,000 vehicles drawn from the rules: do the intervals of cost cover, are the beliefs what they say, and how far
does it fall when every rate is wrong by a factor of up to two?

States, costs and reports are drawn from the rules; every link of an item (fault or service) to a subject gives one
report, for that is the independence that the engine assumes. `python -m pytest tests/slow -m slow -s -k costing`
prints the tables.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from costing_fleet import Words, believe, draw, silent_vehicles, wrong
from numpy.typing import NDArray

from pipeline.costing.estimate import Engine
from pipeline.costing.learning import faster, neglected
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.types import Buyer

pytestmark = pytest.mark.slow

KNOWLEDGE = load_knowledge(["general"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
VEHICLES, TOGETHER = 20_000, 100
SAMPLES = 250  # a vehicle: over 20,000 of them what they add to the coverage is below a tenth of a point
LEVELS = (10, 50, 90)
BINS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0)


def run(truth: Knowledge, vehicles: int, seed: int) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Place of each true cost in its distribution (0 to 1); rows of belief, frequency and count; ratio of means."""
    rng = np.random.default_rng(seed)
    nature = Engine(truth, BUYER, TOGETHER, seed + 1)
    engine = Engine(KNOWLEDGE, BUYER, TOGETHER * SAMPLES, seed + 2)
    said, understood = Words.of(truth), Words.of(KNOWLEDGE)
    places, spent, expected = [], 0.0, 0.0
    sums = np.zeros((len(BINS) - 1, 3))
    for _ in range(vehicles // TOGETHER):
        drawn = draw(nature, said, silent_vehicles(rng, TOGETHER), rng)
        belief, costs = believe(engine, understood, drawn, SAMPLES, rng)
        # A cost that many samples share (nothing at all, most often) has a random place among them.
        true = drawn.cost[:, None]
        below, upto = (costs < true - 1e-6).mean(axis=1), (costs <= true + 1e-6).mean(axis=1)
        places.append(below + rng.random(TOGETHER) * (upto - below))
        spent, expected = spent + drawn.cost.sum(), expected + costs.mean(axis=1).sum()
        bad, really = (belief[:, :, 1] + belief[:, :, 2]).ravel(), (drawn.states > 0).ravel()
        at = np.clip(np.digitize(bad, BINS) - 1, 0, len(sums) - 1)
        for column, values in enumerate((bad, really, np.ones(len(bad)))):
            sums[:, column] += np.bincount(at, values, len(sums))
    return np.concatenate(places), sums, expected / spent


def coverage(places: NDArray[np.float64]) -> dict[int, float]:
    """Per cent of true costs below each percentile."""
    return {level: 100 * float((places < level / 100).mean()) for level in LEVELS}


def show(title: str, covered: dict[int, float], sums: NDArray[np.float64], ratio: float) -> None:
    print(f"\n{title}: expected over true cost {ratio:.3f}; below the " + ", ".join(
        f"{level} % point {share:.1f} %" for level, share in covered.items()
    ))  # fmt: skip
    print(f"{'belief':>14} {'held':>7} {'true':>7} {'cases':>9}")
    for low, high, (held, true, count) in zip(BINS, BINS[1:], sums, strict=False):
        if count:
            print(f"{low:>6.2f} to {high:.2f} {held / count:>7.3f} {true / count:>7.3f} {count:>9,.0f}")


def test_intervals_cover_and_beliefs_are_reliable() -> None:
    places, sums, ratio = run(KNOWLEDGE, VEHICLES, 1)
    covered = coverage(places)
    show(f"{len(places):,} vehicles drawn from the rules", covered, sums, ratio)
    assert len(places) == VEHICLES
    for level, share in covered.items():
        assert abs(share - level) < 1.5, (level, share)
    held, true, count = sums.T
    full = count > 2000
    assert full.sum() >= 6
    error = 4 * np.sqrt(true * (count - true) / count**3)[full] + 0.002
    assert (np.abs(held / count - true / count)[full] < error).all()
    assert ratio == pytest.approx(1, abs=0.02)


def test_how_far_coverage_falls_when_every_rate_is_wrong_by_up_to_two() -> None:
    """No promise, a measurement: four worlds, each with its own wrong rates. That it falls no further is the test."""
    worlds = [wrong(KNOWLEDGE, np.random.default_rng(seed), 2.0) for seed in range(4)]
    runs = [run(world, VEHICLES // 20, 10 + n) for n, world in enumerate(worlds)]
    for n, (places, sums, ratio) in enumerate(runs):
        show(f"world {n}, every rate wrong by up to 2", coverage(places), sums, ratio)
    together = np.concatenate([places for places, _, _ in runs])
    inside = 100 * float(((together >= 0.1) & (together < 0.9)).mean())
    each = [100 * float(((places >= 0.1) & (places < 0.9)).mean()) for places, _, _ in runs]
    print(f"\n10 to 90 % holds {inside:.1f} % of true costs instead of 80 % (worlds: {[round(x, 1) for x in each]})")
    assert 65 < inside < 85
    for _, _, ratio in runs:
        assert 0.6 < ratio < 1.7


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_how_far_coverage_falls_when_all_wears_faster_or_slower(factor: float) -> None:
    """Errors of one sign do not cancel: what the rules must be right about is the level."""
    faults = {key: faster(fault, factor) for key, fault in KNOWLEDGE.faults.items()}
    services = {key: neglected(service, factor) for key, service in KNOWLEDGE.services.items()}
    places, sums, ratio = run(replace(KNOWLEDGE, faults=faults, services=services), VEHICLES // 20, 20)
    show(f"everything wears {factor:g} times as fast", coverage(places), sums, ratio)
    inside = 100 * float(((places >= 0.1) & (places < 0.9)).mean())
    print(f"10 to 90 % holds {inside:.1f} % of true costs instead of 80 %")
    assert 30 < inside < 80
    assert (ratio > 1) == (factor < 1)
