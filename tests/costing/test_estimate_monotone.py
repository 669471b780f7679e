"""What must never move the wrong way: every subject, status and grade, all faults and services, several adverts."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from pipeline.costing.estimate import Engine
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.traits import vehicle_traits
from pipeline.types import GRADES, Buyer, Claim, Evidence, Grade, Status

KNOWLEDGE = load_knowledge(["ladder-frame-4x4"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
FACTS = {"year": [1996], "fuel": "diesel", "gearbox": "manual", "engine_litres": 2.4, "mileage": 120000}
AS_OF = date(2026, 10, 31)
TERSE = Evidence("terse", FACTS, (), 30.0, 120000.0, AS_OF, 15)
LONG = Evidence("long", FACTS, (), 30.0, 120000.0, AS_OF, 160)  # frank as soon as it admits anything
SUBJECTS = sorted({link.subject for fault in KNOWLEDGE.faults.values() for link in fault.speaks if not link.renews})
ADMISSIONS: tuple[Status, ...] = ("present", "due", "possible")
ITEMS = {**KNOWLEDGE.faults, **KNOWLEDGE.services}
# Work that may be there to hide what is under it: fresh underseal, welding, new carpets over a floor.
DOUBTFUL = {
    link.subject for item in ITEMS.values() for link in item.speaks if KNOWLEDGE.tables[link.table].doubtful_done
}


@pytest.fixture(scope="module")
def engine() -> Engine:
    return Engine(KNOWLEDGE, BUYER, 200, 1)


def claim(subject: str, status: Status, grade: Grade = "plain", **more: Any) -> Claim:
    return Claim(subject, status, grade, "words", 0, 5, "test", **more)


def bad(belief: Mapping[str, np.ndarray], item: str) -> float:
    return float(belief[item][1:].sum())


def speaks(item: str, subject: str, share: float) -> bool:
    return any(link.subject == subject and link.share >= share for link in ITEMS[item].speaks)


@pytest.mark.parametrize("advert", [TERSE, LONG], ids=["terse", "long"])
def test_an_admission_never_lowers_a_fault_that_it_speaks_of(engine: Engine, advert: Evidence) -> None:
    silent = engine.beliefs([advert])[0]
    for subject in SUBJECTS:
        said = [replace(advert, claims=(claim(subject, s, grade),)) for s in ADMISSIONS for grade in GRADES]
        for case, belief in zip(said, engine.beliefs(said), strict=True):
            for key in KNOWLEDGE.faults:
                if speaks(key, subject, 0.3):
                    assert bad(belief, key) >= bad(silent, key) - 1e-6, (key, case.claims[0])


@pytest.mark.parametrize("advert", [TERSE, LONG], ids=["terse", "long"])
def test_graver_words_never_lower_a_major_fault(engine: Engine, advert: Evidence) -> None:
    for subject in (s for s in SUBJECTS if s not in ("underseal", "welding")):  # no faults themselves
        graded = [replace(advert, claims=(claim(subject, "present", grade),)) for grade in GRADES]
        slight, plain, heavy = engine.beliefs(graded)
        for key in KNOWLEDGE.faults:
            if speaks(key, subject, 0.5):
                assert slight[key][2] <= plain[key][2] + 1e-6 and plain[key][2] <= heavy[key][2] + 1e-6, (key, subject)


@pytest.mark.parametrize("advert", [TERSE, LONG], ids=["terse", "long"])
def test_silence_is_never_better_than_a_denial(engine: Engine, advert: Evidence) -> None:
    silent = engine.beliefs([advert])[0]
    denials = [replace(advert, claims=(claim(subject, "absent", grade),)) for subject in SUBJECTS for grade in GRADES]
    for case, belief in zip(denials, engine.beliefs(denials), strict=True):
        for key in KNOWLEDGE.faults:
            if speaks(key, case.claims[0].subject, 0.3):
                assert bad(belief, key) <= bad(silent, key) + 1e-6, (key, case.claims[0])


def test_a_second_admission_of_another_part_never_clears_the_first(engine: Engine) -> None:
    first = claim("sills", "present")
    alone = engine.beliefs([replace(LONG, claims=(first,))])[0]
    others = [s for s in SUBJECTS if s not in ("sills", "spares_repair")]
    both = engine.beliefs([replace(LONG, claims=(first, claim(s, "present"))) for s in others])
    for subject, belief in zip(others, both, strict=True):
        assert bad(belief, "sills_outer") >= bad(alone, "sills_outer") - 0.03, subject


@pytest.mark.parametrize("advert", [TERSE, LONG], ids=["terse", "long"])
def test_work_lately_done_with_a_receipt_never_raises_the_belief_or_the_cost(engine: Engine, advert: Evidence) -> None:
    receipts = replace(advert, facts={**FACTS, "service_history": "part"})
    silent = engine.beliefs([receipts])[0]
    traits = vehicle_traits(KNOWLEDGE, FACTS)
    price = {
        key: [sum(engine.costs.mean(job) for job in jobs) * chance for _, jobs, chance in engine.work(key)]
        for key in ITEMS
    }
    for key, item in ITEMS.items():
        if item.applies.chance(traits) < 0.99:  # words about a part also show that there is one
            continue
        for link in item.speaks:
            if link.renews and link.share >= 0.5 and link.subject not in DOUBTFUL:
                said = replace(receipts, claims=(claim(link.subject, "done", at_year=2026),))
                done = engine.beliefs([said])[0]
                assert bad(done, key) <= bad(silent, key) + 1e-6, (key, link.subject)
                cost = sum(float(done[i][n + 1]) * p for i in ITEMS for n, p in enumerate(price[i]))
                before = sum(float(silent[i][n + 1]) * p for i in ITEMS for n, p in enumerate(price[i]))
                assert cost <= before + 1e-6, (key, link.subject, cost - before)


def test_a_candid_advert_clears_what_it_does_not_name(engine: Engine) -> None:
    said = (claim("doors_panels", "present", "slight"), claim("interior", "present", "slight"))
    terse, long = engine.beliefs([replace(TERSE, claims=said), replace(LONG, claims=said)])
    for key in ("sills_outer", "chassis_rails", "head_gasket", "clutch"):
        assert bad(long, key) < bad(terse, key), key


def test_wax_year_by_year_is_a_comfort_and_fresh_black_coating_a_doubt(engine: Engine) -> None:
    wax = replace(claim("underseal", "done"), quote="waxed every autumn")
    black = replace(claim("underseal", "done"), quote="freshly undersealed")
    silent, kept, hidden = engine.beliefs([LONG, replace(LONG, claims=(wax,)), replace(LONG, claims=(black,))])
    assert bad(kept, "chassis_rails") < 0.7 * bad(silent, "chassis_rails")
    assert bad(hidden, "chassis_rails") > bad(silent, "chassis_rails")


def test_coolant_still_lost_after_new_parts_points_at_the_gasket(engine: Engine) -> None:
    loses = claim("cooling", "present")
    done = replace(claim("cooling", "done", at_year=2026), quote="new radiator and thermostat")
    once, still = engine.beliefs([replace(LONG, claims=(loses,)), replace(LONG, claims=(loses, done))])
    assert still["head_gasket"][2] > 1.5 * once["head_gasket"][2]
    assert bad(still, "radiator") < bad(once, "radiator")
