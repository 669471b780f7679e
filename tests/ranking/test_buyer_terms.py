"""The buyer's terms move the ranking: purpose, own work, budget, must-haves, outside option, risk."""

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest
from test_rank import BUYER, RULES, SPOKEN, TOLD, claim, one, prospect, worth

from pipeline.costing import estimate
from pipeline.paths import data_folder
from pipeline.ranking import rank
from pipeline.schemas.knowledge import load_knowledge
from pipeline.types import Buyer, Evidence, Purpose, Ranked, RepairEstimate


def cosmetic(buyer: Buyer) -> Ranked:
    """A vehicle whose only work is on its body."""
    shabby = prospect(repair=1500.0)
    items = tuple(replace(item, group="body") for item in shabby.repair.items)
    return rank([replace(shabby, repair=replace(shabby.repair, items=items))], buyer, RULES)[0]


def test_paint_is_little_to_a_working_buyer_and_much_for_an_original_one() -> None:
    working, everyday, original = (
        worth(cosmetic(replace(BUYER, purpose=p))) for p in ("working", "everyday", "original")
    )
    assert working > everyday > original


def test_changes_and_write_offs_cost_an_original_buyer_most() -> None:
    for said in (claim("modified"), claim("writeoff", quote="Cat D")):
        values = []
        for purpose in ("working", "everyday", "original"):
            row = one(replace(BUYER, purpose=purpose), claims=(said,))
            assert row.sound_value is not None
            values.append(row.sound_value.mean)
        assert values == sorted(values, reverse=True) and values[0] > values[-1]


@pytest.mark.parametrize(("purpose", "verdict"), [("everyday", "leave"), ("original", "leave"), ("project", None)])
def test_what_needs_nearly_what_a_sound_one_is_worth_is_left_to_who_looks_for_a_project(
    purpose: Purpose, verdict: str | None
) -> None:
    sound = one(BUYER, price=400.0, repair=100.0).sound_value
    assert sound is not None
    wreck = one(replace(BUYER, purpose=purpose), price=400.0, repair=0.9 * sound.mean, doubt=0.9)
    assert (wreck.verdict == "leave") == (verdict == "leave")
    assert ("ranking.beyond" in {reason.rule for reason in wreck.reasons}) == (verdict == "leave")


@cache
def repair(own_work: bool) -> RepairEstimate:
    knowledge = load_knowledge(["general"], data_folder("rules"))
    evidence = Evidence("1", {"fuel": "petrol"}, (claim("brakes"),), 28.0, 110000.0, date(2026, 10, 31), 90)
    (found,) = estimate([evidence], knowledge, replace(BUYER, does_own_work=own_work), samples=500)
    return found


def test_own_work_makes_the_same_vehicle_worth_more() -> None:
    paid, own = (rank([replace(prospect(), repair=repair(own))], BUYER, RULES)[0] for own in (False, True))
    assert own.repair_cost.mean < paid.repair_cost.mean
    assert worth(own) > worth(paid) and (own.walk_away or 0) > (paid.walk_away or 0)


def test_a_hard_budget_bears_the_feared_work_and_a_soft_one_is_talked_about() -> None:
    silent_work = {"price": 3000.0, "repair": 900.0, "doubt": 0.3, "facts": TOLD, "claims": SPOKEN}
    soft, hard = (
        one(replace(BUYER, budget_total=3500.0, budget_is_hard=hard), **silent_work) for hard in (False, True)
    )
    assert not any(reason.rule == "ranking.budget" for reason in soft.reasons)
    assert any(reason.rule == "ranking.budget" for reason in hard.reasons) and hard.verdict == "ring first"
    assert one(replace(BUYER, budget_total=2300.0), **silent_work).verdict == "leave"


def test_a_price_over_the_budget_is_talked_about_though_less_is_likely_to_be_paid() -> None:
    for asked, over in ((3050.0, True), (2950.0, False)):
        row = one(replace(BUYER, budget_total=3000.0), price=asked, repair=0.0, facts=TOLD, claims=SPOKEN)
        assert any(reason.rule == "ranking.budget" for reason in row.reasons) is over
        assert not over or row.verdict == "ring first"
    firm = {"facts": {**TOLD, "price_terms": "fixed"}, "claims": SPOKEN, "repair": 0.0, "price": 3050.0}
    assert one(replace(BUYER, budget_total=3000.0), **firm).verdict == "leave"  # nothing to talk about


def test_a_must_have_that_goes_without_saying_is_asked_but_stops_nobody() -> None:
    needs = replace(BUYER, must={"gearbox": ("manual",)})
    good = {"price": 3000.0, "repair": 60.0, "doubt": 0.05, "claims": SPOKEN}
    silent = one(needs, facts={**TOLD, "gearbox": None}, **good)
    assert silent.verdict == "travel" and any(q.rule == "must.gearbox" for q in silent.questions)
    assert one(replace(needs, region="north-america"), facts={**TOLD, "gearbox": None}, **good).verdict == "ring first"
    automatic = replace(BUYER, must={"gearbox": ("auto",)})
    assert one(automatic, facts={**TOLD, "gearbox": None}, **good).verdict == "ring first"
    assert one(needs, facts={**TOLD, "gearbox": "auto"}, **good).verdict == "leave"


@pytest.mark.parametrize("price", [3000.0, 4500.0])
def test_who_can_have_more_elsewhere_leaves_sooner_and_pays_less(price: float) -> None:
    rows = [one(replace(BUYER, outside_option=elsewhere), price=price) for elsewhere in (-3000.0, 2500.0)]
    assert rows[1].verdict == "leave" and rows[0].verdict != "leave"
    assert (rows[0].walk_away or 0) - (rows[1].walk_away or 0) == pytest.approx(min(5500.0, rows[0].walk_away or 0))


def test_going_by_the_worst_quarter_lowers_the_doubtful_most() -> None:
    careful = replace(BUYER, risk="worst_quarter")
    lost = [worth(one(doubt=d)) - worth(one(careful, doubt=d)) for d in (0.9, 0.15)]
    assert 0 < lost[0] < lost[1]
    assert np.isfinite(lost).all()


def test_the_order_is_travel_then_ring_then_leave_and_by_worth_within() -> None:
    sure = prospect("sure", 3300.0, repair=60.0, doubt=0.05, facts=TOLD, claims=SPOKEN)
    silent = prospect("silent", 2500.0)
    poor = prospect("poor", 9000.0)
    rows = rank([poor, silent, sure], BUYER, RULES)
    assert [(row.ref, row.verdict) for row in rows] == [("sure", "travel"), ("silent", "ring first"), ("poor", "leave")]
    assert worth(rows[1]) > worth(rows[0])
