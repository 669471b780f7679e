"""Ranking: what must rise and fall with what, and what no price offsets."""

import sys
import weakref
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from pipeline.paths import data_folder
from pipeline.ranking import rank
from pipeline.ranking.information import signal_worth
from pipeline.ranking.outside import outside_option
from pipeline.ranking.questions import plan_call
from pipeline.ranking.surplus import surplus, visit_cost
from pipeline.schemas.decision import load_decision
from pipeline.types import (
    Buyer,
    Claim,
    Evidence,
    ItemBelief,
    Prospect,
    Ranked,
    RepairEstimate,
    Spread,
    Status,
    Valuation,
)

RULES = load_decision(data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0, budget_total=9000.0)
SAMPLES = 600
TOLD = {"test_state": "valid", "service_history": "full"}


def item(name: str, expected: float, bad: float, subject: str, seen: float = 0.6) -> ItemBelief:
    return ItemBelief(name, name, "structure", "fault", 1 - bad, bad / 2, bad / 2, expected, False, (subject,), seen)


def prospect(ref: str = "1", price: float | None = 4000.0, miles: float | None = 30.0, **more: Any) -> Prospect:
    rng = np.random.default_rng(4)
    repair = more.pop("repair", 900.0)
    doubt = more.pop("doubt", 0.3)
    claims: tuple[Claim, ...] = more.pop("claims", ())
    facts = {"fuel": "diesel", "gearbox": "manual", **more.pop("facts", {})}
    value = more.pop("value", 5000.0)
    hit = rng.random((SAMPLES, 2)) < doubt
    costs = np.where(hit, repair / 2 / doubt, 0.0).astype(np.float32)
    items = (item("sills_outer", repair / 2, doubt, "sills"), item("timing_belt", repair / 2, doubt, "timing_belt"))
    estimate = RepairEstimate(ref, items, costs, {}, 0.0, float(repair))
    valuation = Valuation(ref, None, None, None, None, None, None, "none", 0)
    if value is not None:
        valuation = Valuation(ref, value, value * 0.8, value, value * 1.2, np.log(value), 0.15, "pool", 12)
    evidence = Evidence(ref, facts, claims, 28.0, 100000.0, date(2026, 10, 31), 90)
    return Prospect(ref, (ref,), f"van {ref}", evidence, estimate, valuation, price, "GBP", miles, "Hexham", **more)


def one(buyer: Buyer = BUYER, **more: Any) -> Ranked:
    return rank([prospect(**more)], buyer, RULES)[0]


def claim(subject: str, status: Status = "present", quote: str = "words") -> Claim:
    return Claim(subject, status, "plain", quote, 0, 5, "test")


SPOKEN = (claim("sills", "absent"), claim("timing_belt", "done"))


def worth(row: Ranked) -> float:
    assert row.visit_worth is not None
    return row.visit_worth


def test_dearer_further_and_worse_are_worth_less() -> None:
    assert worth(one(price=3500.0)) > worth(one(price=4000.0))
    assert worth(one(miles=10.0)) > worth(one(miles=200.0))
    assert worth(one(repair=500.0)) > worth(one(repair=1500.0))


def test_best_first_and_every_vehicle_is_there() -> None:
    rows = rank([prospect("a", 5200.0), prospect("b", 3800.0), prospect("c", 4500.0)], BUYER, RULES)
    assert [row.ref for row in rows] == ["b", "c", "a"]


def test_a_doubtful_one_is_worth_a_visit_before_a_middling_sure_one_of_the_same_mean() -> None:
    """What a viewing shows can be walked away from: option value."""
    sure, doubtful = one(repair=1000.0, doubt=0.95), one(repair=1000.0, doubt=0.2)
    assert worth(doubtful) > worth(sure)


def test_money_before_a_viewing_is_left_whatever_the_price() -> None:
    row = one(price=500.0, claims=(claim("advance_payment", quote="a deposit holds it"),))
    assert row.verdict == "leave"
    assert [flag.code for flag in row.flags if flag.disqualifies] == ["payment_first"]
    assert row.flags[0].quote == "a deposit holds it" and "Pay nothing" in row.flags[0].verify


def test_a_missing_document_is_left_but_a_missing_key_is_a_question() -> None:
    assert one(claims=(claim("documents", quote="no log book"),)).verdict == "leave"
    assert one(claims=(claim("documents", quote="one key only"),)).verdict == "ring first"


def test_two_marks_of_a_swindle_together() -> None:
    row = one(claims=(claim("advance_payment"), claim("no_viewing")))
    assert "swindle" in {flag.code for flag in row.flags}


def test_a_structural_write_off_needs_proof() -> None:
    bare = one(claims=(claim("writeoff", quote="Cat S in 2021"),))
    proven = one(claims=(claim("writeoff", quote="Cat S in 2021, photos and invoice for the repair"),))
    assert (bare.verdict, proven.verdict) == ("leave", "ring first")


def test_flagged_ones_stand_below_all_others() -> None:
    rows = rank([prospect("scam", 100.0, claims=(claim("no_viewing"),)), prospect("dear", 6500.0)], BUYER, RULES)
    assert [row.ref for row in rows] == ["dear", "scam"]


def test_must_haves() -> None:
    needs = replace(BUYER, must={"fuel": ("petrol",)})
    denied = one(needs)
    assert denied.verdict == "leave" and any("petrol" in reason.text for reason in denied.reasons)
    silent = one(needs, facts={"fuel": None})
    assert silent.verdict == "ring first" and silent.questions[0].rule == "must.fuel"


def test_budget_is_soft_until_far_over() -> None:
    assert one(replace(BUYER, budget_total=2500.0)).verdict == "leave"
    near = one(replace(BUYER, budget_total=3600.0), facts=TOLD)
    assert near.verdict == "ring first" and any("budget" in reason.text for reason in near.reasons)
    assert "spend" in near.questions[0].text
    assert one(replace(BUYER, budget_total=3700.0, budget_is_hard=True)).verdict == "leave"


def test_what_could_not_be_valued_has_no_number_but_a_reason() -> None:
    for row in (one(price=None, refused_price="the price is in EUR"), one(value=None)):
        assert row.visit_worth is None and row.surplus is None and row.sound_value is None
        assert row.verdict == "ring first"
    assert any("EUR" in reason.text for reason in one(price=None, refused_price="the price is in EUR").reasons)


def test_an_unknown_distance_is_said() -> None:
    row = one(miles=None)
    assert row.visit_cost is None and any("how far" in reason.text for reason in row.reasons)


def test_a_certain_bargain_is_travelled_to_and_a_hopeless_one_left() -> None:
    assert one(price=3000.0, repair=60.0, doubt=0.05, facts=TOLD, claims=SPOKEN).verdict == "travel"
    hopeless = one(price=9000.0, repair=3000.0)
    assert hopeless.verdict == "leave" and any("lower" in change for change in hopeless.changes)


def test_questions_are_worth_something_only_where_an_answer_could_change_the_decision() -> None:
    doubtful = one(price=4900.0, repair=2200.0, doubt=0.35, miles=150.0)
    certain = one(price=2000.0, repair=200.0, doubt=0.1)
    assert max(q.worth for q in doubtful.questions) > max(q.worth for q in certain.questions)
    assert all(a.worth >= b.worth for a, b in zip(doubtful.questions, doubtful.questions[1:], strict=False))


def test_purpose_changes_what_changes_are_worth() -> None:
    modified = (claim("modified"),)
    original, working = (one(replace(BUYER, purpose=p), claims=modified) for p in ("original", "working"))
    assert worth(original) < worth(working)


def test_a_careful_buyer_goes_by_the_worst_quarter() -> None:
    careful = replace(BUYER, risk="worst_quarter")
    assert worth(one(careful, doubt=0.2)) < worth(one(doubt=0.2))
    assert worth(one(careful, doubt=0.95)) - worth(one(careful, doubt=0.2)) > 0


def test_the_cost_of_a_visit() -> None:
    visit = RULES.decision.visit
    hours = 2 * 42 / visit.speed_mph + visit.hours_there
    assert visit_cost(42.0, BUYER, RULES) == pytest.approx(84 * 0.45 + hours * 12 + visit.fee)


def test_walking_away_is_dearer_the_sounder_it_is() -> None:
    sound, doubtful = one(repair=200.0), one(repair=1500.0)
    assert sound.walk_away is not None and doubtful.walk_away is not None
    assert sound.walk_away > doubtful.walk_away


def test_an_advert_that_leaves_the_essentials_unsaid_is_rung_first() -> None:
    silent = one(price=3000.0, repair=60.0, doubt=0.05)
    assert silent.verdict == "ring first"
    assert any(reason.rule == "ranking.blind" for reason in silent.reasons)
    assert any("belt" in q.text for q in silent.questions) and any("underneath" in q.text for q in silent.questions)


def test_a_guess_leaves_an_essential_open() -> None:
    guessed = (claim("sills", "absent"), claim("timing_belt", "possible"))
    assert any(q.rule == "essential.belt" for q in one(facts={"test_state": "valid"}, claims=guessed).questions)


def test_coolant_lost_after_repairs_is_left_until_tested_but_an_admitted_gasket_is_priced() -> None:
    lost = claim("cooling", quote="uses a drop of water")
    tried = claim("cooling", "done", "new radiator and cap")
    assert one(claims=(lost, tried)).verdict == "leave"
    assert one(claims=(lost,)).verdict == "ring first"
    owned = (lost, tried, claim("head_gasket", "due", "it needs a head gasket"))
    assert "coolant_explained" not in {flag.code for flag in one(claims=owned).flags}


def test_a_project_is_for_those_who_want_one() -> None:
    sold_as = (claim("spares_repair", quote="unfinished project"),)
    assert one(claims=sold_as).verdict == "leave"
    assert one(replace(BUYER, purpose="project"), claims=sold_as).verdict != "leave"


def test_a_journey_of_more_than_a_day_takes_a_night_and_a_call() -> None:
    far = one(miles=300.0, price=2000.0, repair=60.0, doubt=0.05, facts=TOLD, claims=SPOKEN)
    assert far.verdict == "ring first" and any(q.rule == "ask.far" for q in far.questions)
    visit = RULES.decision.visit
    step = visit_cost(181.0, BUYER, RULES) - visit_cost(178.0, BUYER, RULES)
    assert step > visit.night


def test_work_told_of_and_room_on_the_price_are_settled_on_the_telephone() -> None:
    mended = prospect(facts=TOLD | {"price_terms": "negotiable"}, claims=SPOKEN, price=3000.0)
    mended = replace(mended, repair=replace(mended.repair, admitted_mean=400.0))
    row = rank([mended], BUYER, RULES)[0]
    assert row.verdict == "ring first" and any(q.rule == "ask.settle" for q in row.questions)


def test_the_outside_option_is_the_pools_own_middle_and_the_buyers_word_where_given() -> None:
    few = outside_option([5000.0], [-300.0], BUYER, RULES)
    many = outside_option([5000.0] * 60, [-300.0] * 60, BUYER, RULES)
    assert outside_option([5000.0], [], BUYER, RULES) < few < many < -300.0 + 300
    assert outside_option([5000.0], [-300.0], replace(BUYER, outside_option=250.0), RULES) == 250.0


def test_what_is_hardly_ever_bought_is_left() -> None:
    """A visit next door costs little, so that even a faint hope is worth it on paper: not one in seven."""
    row = one(price=4500.0, repair=6000.0, doubt=0.9, miles=0.0, facts=TOLD, claims=SPOKEN)
    assert row.verdict == "leave"


def test_the_samples_of_few_vehicles_are_held_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    module = sys.modules["pipeline.ranking.rank"]
    real, drawn, most = module.surplus, [], 0

    def counted(*given: Any) -> Any:
        nonlocal most
        money = real(*given)
        drawn.append(weakref.ref(money.full))
        most = max(most, sum(costs() is not None for costs in drawn))
        return money

    monkeypatch.setattr(module, "surplus", counted)
    assert len(rank([prospect(str(n)) for n in range(12)], BUYER, RULES)) == 12
    assert len(drawn) >= 12 and most <= 3


def test_where_no_answer_changes_the_decision_the_dearest_doubt_is_asked_first() -> None:
    """Not the one that rounding happens to favour."""
    for price in range(1000, 1400, 50):
        sure = prospect(price=float(price), value=9000.0)
        costs = sure.repair.item_costs * np.array([0.1, 1.0], np.float32)
        sure = replace(sure, repair=replace(sure.repair, drawn=costs))
        money = surplus(sure, BUYER, RULES)
        assert money is not None
        call = plan_call(sure, money, -5000.0, 40.0, 0.0, RULES)
        assert call.worth == 0 and call.questions[0].subjects[0] == "timing_belt"
        assert all(question.worth == 0 for question in call.questions)


def test_a_spread_is_read_off_as_percentiles_are() -> None:
    rng = np.random.default_rng(3)
    for size in (1, 2, 3, 9, 10, 11, 600, 4000):
        values = rng.normal(size=size) * 1000
        spread = Spread.of(values)
        assert [spread.p10, spread.p50, spread.p90] == pytest.approx(np.percentile(values, [10, 50, 90]).tolist())


def test_the_worth_of_one_question_is_that_of_its_answer_sample_by_sample() -> None:
    van = prospect(price=4200.0, doubt=0.4, repair=1500.0)
    money = surplus(van, BUYER, RULES)
    assert money is not None
    outside = float(money.seen.mean())
    trip = float(np.maximum(money.seen - outside, 0.0).mean())  # to go or to stay is all one
    call, gain = plan_call(van, money, outside, trip, 1e9, RULES), np.maximum(money.seen - outside, 0.0) - trip
    asked = {question.rule: question for question in call.questions}
    costs = money.costs.dense()
    for rule in RULES.questions.questions:
        if rule.id in asked:
            spent = costs[:, [n for n, i in enumerate(van.repair.items) if i.subjects[0] in rule.subjects]].sum(axis=1)
            owns = RULES.questions.proof_says_bad if rule.proof else RULES.questions.says_bad
            bad = np.where(spent > 0, owns, RULES.questions.cries_wolf)
            known = gain - (spent - spent.mean()) * (money.seen > outside) * (1 - van.repair.items[0].seen_on_viewing)
            told = np.array([known @ bad, known @ (1 - bad)]) / len(gain)
            assert asked[rule.id].worth == pytest.approx(max(float(signal_worth(told)), 0.0), abs=1e-6)
    assert max(question.worth for question in call.questions) > 1
