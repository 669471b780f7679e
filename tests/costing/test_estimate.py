"""Repair cost from evidence: what must be monotone, what must agree, what must not depend on company."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from pipeline.costing.estimate import Engine, estimate
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.traits import vehicle_traits
from pipeline.types import GRADES, Buyer, Claim, Evidence, Grade, Status

KNOWLEDGE = load_knowledge(["general"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
FACTS = {"year": [1996], "fuel": "diesel", "gearbox": "manual", "engine_litres": 2.4, "mileage": 120000}
VAN = Evidence("1", FACTS, (), 30.0, 120000.0, date(2026, 10, 31), 80)


@pytest.fixture(scope="module")
def engine() -> Engine:
    return Engine(KNOWLEDGE, BUYER, 500, 1)


def claim(subject: str, status: Status, grade: Grade = "plain", **more: Any) -> Claim:
    return Claim(subject, status, grade, "words", 0, 5, "test", **more)


def saying(*claims: Claim, **facts: Any) -> Evidence:
    return replace(VAN, claims=claims, facts={**FACTS, **facts})


def bad(belief: Mapping[str, np.ndarray], item: str) -> float:
    return float(belief[item][1:].sum())


SUBJECTS = sorted({link.subject for fault in KNOWLEDGE.faults.values() for link in fault.speaks if not link.renews})


def test_an_admission_never_lowers_a_fault_that_it_speaks_of(engine: Engine) -> None:
    silent = engine.beliefs([VAN])[0]
    statuses: tuple[Status, ...] = ("present", "due", "possible")
    for subject in SUBJECTS:
        said = [saying(claim(subject, status, grade)) for status in statuses for grade in GRADES]
        for case, belief in zip(said, engine.beliefs(said), strict=True):
            for key, fault in KNOWLEDGE.faults.items():
                direct = [link for link in fault.speaks if link.subject == subject and link.share >= 0.3]
                if direct and fault.applies.chance({"diesel": 1.0}) >= 0:
                    assert bad(belief, key) >= bad(silent, key) - 1e-6, (key, case.claims[0])


def test_graver_words_never_lower_a_major_fault(engine: Engine) -> None:
    for subject in (s for s in SUBJECTS if s not in ("underseal", "welding")):  # no faults themselves
        slight, plain, heavy = engine.beliefs([saying(claim(subject, "present", grade)) for grade in GRADES])
        for key, fault in KNOWLEDGE.faults.items():
            if any(link.subject == subject and link.share >= 0.5 for link in fault.speaks):
                assert slight[key][2] <= plain[key][2] + 1e-6 and plain[key][2] <= heavy[key][2] + 1e-6, (key, subject)


def test_silence_is_never_better_than_a_denial(engine: Engine) -> None:
    silent = engine.beliefs([VAN])[0]
    for subject in SUBJECTS:
        denied = engine.beliefs([saying(claim(subject, "absent"))])[0]
        for key, fault in KNOWLEDGE.faults.items():
            if any(link.subject == subject and link.share >= 0.3 for link in fault.speaks):
                assert bad(denied, key) <= bad(silent, key) + 1e-6, (key, subject)


def test_work_lately_done_never_raises_what_it_renews(engine: Engine) -> None:
    silent = engine.beliefs([VAN])[0]
    traits = vehicle_traits(KNOWLEDGE, FACTS)
    items = {**KNOWLEDGE.faults, **KNOWLEDGE.services}
    for key, item in items.items():
        if item.applies.chance(traits) < 0.99:  # words about a part also show that there is one
            continue
        for link in item.speaks:
            if link.renews and link.share >= 0.5:
                done = engine.beliefs([saying(claim(link.subject, "done", at_year=2026))])[0]
                assert bad(done, key) <= bad(silent, key) + 1e-6, (key, link.subject)


def test_older_and_further_costs_more() -> None:
    young = replace(VAN, age_years=12.0, mileage_miles=60000.0, facts={**FACTS, "year": [2014]})
    young_cost, old_cost = (repair.samples.mean() for repair in estimate([young, VAN], KNOWLEDGE, BUYER))
    assert young_cost < old_cost


def test_company_changes_no_figure() -> None:
    others = [saying(claim("sills", "present", "heavy")), VAN, saying(claim("smoke", "absent"))]
    alone = next(iter(estimate([VAN], KNOWLEDGE, BUYER, samples=400)))
    among = list(estimate(others, KNOWLEDGE, BUYER, samples=400))[1]
    assert (alone.item_costs == among.item_costs).all()


def test_a_rank_moves_only_with_evidence() -> None:
    """Common random numbers: two vehicles of the same evidence cost the same in every sample."""
    one, two = estimate([VAN, replace(VAN, ref="2")], KNOWLEDGE, BUYER, samples=400)
    assert (one.item_costs == two.item_costs).all()


def test_the_mean_agrees_with_the_closed_form_and_shared_access_only_saves() -> None:
    case = saying(claim("clutch", "present"), claim("sills", "present", "heavy"))
    engine = Engine(KNOWLEDGE, BUYER, 4000, 7)
    (repair,) = engine.run([case])
    belief = engine.beliefs([case])[0]
    expected = 0.0
    for key in engine.ids:
        for state, jobs, chance in engine._work(key):
            expected += float(belief[key][state]) * chance * sum(engine.costs.mean(job) for job in jobs)
    assert repair.samples.mean() <= expected * 1.01
    assert repair.samples.mean() >= expected * 0.75


def test_percentiles_are_stable_between_seeds() -> None:
    spreads = [
        np.percentile(next(iter(estimate([VAN], KNOWLEDGE, BUYER, seed=seed))).samples, [10, 50, 90])
        for seed in (1, 2, 3)
    ]
    middle = np.mean(spreads, axis=0)
    assert np.max(np.abs(np.array(spreads)[:, 1:] / middle[1:] - 1)) < 0.04


def test_admitted_and_unsaid_add_up_and_are_told_apart() -> None:
    silent, told = estimate([VAN, saying(claim("sills", "present", "heavy"))], KNOWLEDGE, BUYER)
    assert silent.admitted_mean == 0
    assert told.admitted_mean > 200
    for repair in (silent, told):
        assert repair.admitted_mean + repair.unsaid_mean == pytest.approx(repair.samples.mean(), rel=1e-4)


def test_a_buyer_who_does_their_own_work_pays_less_but_not_for_what_is_unwise_at_home() -> None:
    own = replace(BUYER, does_own_work=True)
    paid, saved = (next(iter(estimate([VAN], KNOWLEDGE, b))).samples.mean() for b in (BUYER, own))
    assert 0.3 * paid < saved < 0.95 * paid


def test_opposite_words_count_for_less_and_are_reported(engine: Engine) -> None:
    admitted, both = engine.beliefs(
        [saying(claim("sills", "present")), saying(claim("sills", "present"), claim("sills", "absent"))]
    )
    assert bad(both, "sills_outer") < bad(admitted, "sills_outer")
    (repair,) = engine.run([saying(claim("sills", "present"), claim("sills", "absent"))])
    assert any("sills" in words for words in repair.contradictions)


def test_a_chain_engine_has_no_belt() -> None:
    chain = claim("timing_belt", "absent")
    chain = replace(chain, quote="chain engine so no belt")
    (repair,) = estimate([saying(chain)], KNOWLEDGE, BUYER)
    belt = next(item for item in repair.items if item.item == "timing_belt")
    assert belt.minor + belt.major < 0.05


def test_what_a_viewing_found_settles_a_fault(engine: Engine) -> None:
    seen = replace(VAN, findings={"sills_outer": "major"})
    assert engine.beliefs([seen])[0]["sills_outer"][2] > 0.7
