"""The numbers that a cost hangs on: the same as working the cost out again with the number changed."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from pipeline.costing.estimate import Engine
from pipeline.costing.learning import faster
from pipeline.costing.sensitivity import NAMED
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.types import Buyer, Claim, Evidence, Sensitive

KNOWLEDGE = load_knowledge(["general"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
FACTS = {"year": [1996], "fuel": "diesel", "gearbox": "manual", "engine_litres": 2.4, "mileage": 120000}
ROTTEN = Claim("sills", "present", "plain", "rust in the sills", 0, 5, "test")
VAN = Evidence("1", FACTS, (ROTTEN,), 30.0, 120000.0, date(2026, 10, 31), 80)
SAMPLES = 12_000


@pytest.fixture(scope="module")
def engine() -> Engine:
    return Engine(KNOWLEDGE, BUYER, SAMPLES, 3)


@pytest.fixture(scope="module")
def tried(engine: Engine) -> dict[str, Sensitive]:
    """Every number that is tried, by its words."""
    believed = engine.believed([VAN])
    sampled = engine.sampled(believed, 0)
    return {one.what: one for one in engine.sensitivity.every(sampled, believed.tables.company, 0)}


def mean(knowledge: Knowledge) -> float:
    (repair,) = Engine(knowledge, BUYER, SAMPLES, 3).run([VAN])
    return float(repair.samples.mean())


@pytest.mark.parametrize("item", ["sills_outer", "sills_inner"])
def test_how_fast_an_item_wears(tried: dict[str, Sensitive], item: str) -> None:
    fault = KNOWLEDGE.faults[item]
    one = tried[f"{fault.name}: how fast it wears"]
    for factor, told in ((1 / one.factor, one.low), (one.factor, one.high)):
        changed = replace(KNOWLEDGE, faults={**KNOWLEDGE.faults, item: faster(fault, factor)})
        assert told - mean(KNOWLEDGE) == pytest.approx(mean(changed) - mean(KNOWLEDGE), abs=25), factor


def test_how_often_care_is_poor(tried: dict[str, Sensitive]) -> None:
    care = KNOWLEDGE.roots["care"]
    one = tried[f"{care.name}: how often “poor”"]
    prior = {state: chance * (one.factor if state == "poor" else 1) for state, chance in care.prior.items()}
    prior = {state: chance / sum(prior.values()) for state, chance in prior.items()}
    changed = replace(KNOWLEDGE, roots={**KNOWLEDGE.roots, "care": care.model_copy(update={"prior": prior})})
    assert one.high == pytest.approx(mean(changed), rel=0.02)


def test_what_a_report_table_says_of_a_bad_part(tried: dict[str, Sensitive]) -> None:
    one = tried["“present” said of a bad part, as the table structure has it"]
    table, rows = KNOWLEDGE.tables["structure"], {}
    for state, row in table.rows.items():
        rows[state] = dict(row)
        if state in ("minor", "major"):
            grades = row["present"]
            assert not isinstance(grades, float)
            rows[state]["present"] = {grade: chance * one.factor for grade, chance in grades.items()}
    tables = {**KNOWLEDGE.tables, "structure": table.model_copy(update={"rows": rows})}
    assert one.high == pytest.approx(mean(replace(KNOWLEDGE, tables=tables)), rel=0.02)
    assert one.low < mean(KNOWLEDGE) < one.high


def test_the_hours_of_a_job(tried: dict[str, Sensitive], engine: Engine) -> None:
    job = KNOWLEDGE.jobs["sill_pair"]
    one = tried[f"{job.name}: hours"]
    hours = {name: getattr(job.hours, name) * one.factor for name in ("low", "mode", "high")}
    jobs = {**KNOWLEDGE.jobs, "sill_pair": job.model_copy(update={"hours": job.hours.model_copy(update=hours)})}
    assert one.high == pytest.approx(mean(replace(KNOWLEDGE, jobs=jobs)), rel=0.03)
    assert one.low < one.high


def test_the_estimate_names_the_three_that_move_it_most(tried: dict[str, Sensitive], engine: Engine) -> None:
    (repair,) = engine.run([VAN])
    assert len(repair.sensitive) == NAMED
    moves = [abs(one.high - one.low) for one in repair.sensitive]
    assert moves == sorted(moves, reverse=True)
    assert moves[0] == pytest.approx(max(abs(one.high - one.low) for one in tried.values()))
    for one in repair.sensitive:
        assert one.rule.startswith("rules/") and one.source and np.isfinite([one.low, one.high]).all()


def test_what_was_seen_is_no_longer_a_matter_of_wear(engine: Engine) -> None:
    (repair,) = engine.run([replace(VAN, findings={"sills_outer": "major"})])
    assert not any(one.what.startswith("outer sills rusted: how fast") for one in repair.sensitive)
