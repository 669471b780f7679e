"""Learning against a known truth: every item wears by a factor of its own, outcomes are drawn, the factor is found.

`python -m pytest tests/slow/test_costing_learning.py -m slow -s` prints the table.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.costing.learning import STATES, faster, learn, neglected
from pipeline.costing.network import Network
from pipeline.costing.signs import Fleet
from pipeline.costing.wear import fault_wear, service_wear
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.knowledge_parts import Fault
from pipeline.types import Outcome

pytestmark = pytest.mark.slow

KNOWLEDGE = load_knowledge(["general"], data_folder("rules"))
ITEMS = ["sills_outer", "brake_pipes", "clutch", "tyres", "head_gasket", "radiator", "timing_belt", "coolant"]
COUNTS = (0, 10, 40, 160, 400)
WORLDS = 60  # with each its own truth for every item: 480 truths, so that a share of 80 % is known to 1.8 points


def outcomes(rng: np.random.Generator, item: str, factor: float, count: int, told: bool) -> list[Outcome]:
    """Vehicles of random age, mileage and hidden care, the state of one part, and what was believed of it before.

    Where it was `told`, an advert has spoken of the part, and the buyer went to see only what it praised.
    """
    network = Network({key: dict(root.prior) for key, root in KNOWLEDGE.roots.items()}, ())
    part = KNOWLEDGE.faults.get(item) or KNOWLEDGE.services[item]
    make = fault_wear if isinstance(part, Fault) else service_wear
    found: list[Outcome] = []
    while len(found) < count:
        age = rng.uniform(6, 36, 4000)
        miles = age * rng.uniform(2500, 11000, len(age))
        alone = replace(NONE, signs=(None,) * len(age), age=age, miles=miles)  # type: ignore[arg-type]
        true = faster(part, factor) if isinstance(part, Fault) else neglected(part, factor)
        by_rules, really = make(network, part, alone)[0], make(network, true, alone)[0]  # type: ignore[arg-type]
        config = rng.choice(len(network.configs), size=len(age), p=network.root_prior())
        chances = really[np.arange(len(age)), config].cumsum(axis=1)
        state = (rng.random(len(age))[:, None] >= chances).sum(axis=1).clip(0, 2)
        before = np.einsum("vrk,r->vk", by_rules, network.root_prior())
        praised = rng.random(len(age)) < np.array([0.6, 0.3, 0.1])[state]
        if told:
            before = before * np.array([0.6, 0.3, 0.1])
            before /= before.sum(axis=1, keepdims=True)
        for v in np.flatnonzero(praised) if told else range(len(age)):
            spoken = (float(before[v, 0]), float(before[v, 1]), float(before[v, 2])) if told else None
            found.append(Outcome(item, STATES[state[v]], float(age[v]), float(miles[v]), spoken))  # type: ignore[arg-type]
    return found[:count]


NONE = Fleet((), np.zeros(0), np.zeros(0), {})


@pytest.mark.parametrize("told", [False, True], ids=["any vehicle", "only what its advert praised"])
def test_means_converge_and_intervals_cover(told: bool) -> None:
    strength = KNOWLEDGE.learning.strength
    miss: dict[int, list[float]] = {count: [] for count in COUNTS}
    inside: dict[int, list[bool]] = {count: [] for count in COUNTS}
    for world in range(WORLDS):
        rng = np.random.default_rng([world, told])
        for item in ITEMS:
            truth = float(rng.gamma(strength, 1 / strength))
            seen = outcomes(rng, item, truth, COUNTS[-1], told)
            for count in COUNTS[1:]:
                (learnt,) = learn(seen[:count], KNOWLEDGE)
                low, high = learnt.interval()
                miss[count].append(float(np.log(learnt.mean / truth)))
                inside[count].append(low <= truth <= high)
            miss[0].append(float(-np.log(truth)))
    print(f"\n{'outcomes':>9} {'usual miss':>11} {'bias':>7} {'in 10-90 %':>11}   ({WORLDS * len(ITEMS)} truths)")
    for count in COUNTS:
        share = f"{100 * np.mean(inside[count]):.1f}" if inside[count] else "-"
        print(f"{count:>9} {np.exp(np.median(np.abs(miss[count]))):>11.3f} {np.mean(miss[count]):>7.3f} {share:>11}")
    usual = [float(np.median(np.abs(miss[count]))) for count in COUNTS]
    assert usual == sorted(usual, reverse=True)
    assert usual[-1] < 0.15 < usual[0]
    assert abs(np.mean(miss[COUNTS[-1]])) < 0.08
    for count in COUNTS[1:]:
        assert abs(100 * np.mean(inside[count]) - 80) < 7.3, count  # four standard errors of 480 truths
    assert abs(100 * np.mean([inside[count] for count in COUNTS[1:]]) - 80) < 5
