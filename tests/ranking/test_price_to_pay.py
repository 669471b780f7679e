"""Opening offer, settling price and walk-away price: their order, what moves them, and what findings do to them."""

from dataclasses import replace

import pytest
from test_rank import BUYER, RULES, one, prospect

from pipeline.ranking import rank


def test_the_three_prices_stand_in_order() -> None:
    for price in (1500.0, 3000.0, 4500.0, 6000.0):
        row = one(price=price)
        assert row.opening_offer is not None and row.settling_price is not None and row.walk_away is not None
        assert 0 <= row.opening_offer <= row.settling_price <= row.walk_away
        assert row.settling_price <= price


def test_a_fixed_price_is_offered_and_room_on_a_price_is_used() -> None:
    fixed, negotiable = (one(price=3000.0, facts={"price_terms": terms}) for terms in ("fixed", "negotiable"))
    assert fixed.opening_offer == fixed.settling_price == 3000.0
    assert negotiable.opening_offer is not None and negotiable.settling_price is not None
    assert negotiable.opening_offer < negotiable.settling_price < 3000.0
    assert any("room on the price" in reason.text for reason in negotiable.price_reasons)


def test_nothing_above_the_walk_away_price_is_settled_at() -> None:
    dear = one(price=9000.0)
    assert dear.settling_price is not None and dear.walk_away is not None
    assert dear.settling_price <= dear.walk_away < 9000.0
    assert any(reason.rule == "ranking.price.too_dear" for reason in dear.price_reasons)


def test_the_budget_caps_what_is_paid() -> None:
    row = one(replace(BUYER, budget_total=4200.0), price=3500.0)
    assert row.walk_away is not None and row.walk_away == pytest.approx(4200.0 - row.repair_cost.mean)
    assert any("budget" in reason.text for reason in row.price_reasons)


def test_what_was_found_comes_off() -> None:
    before = prospect(price=3500.0)
    found = replace(before, evidence=replace(before.evidence, findings={"sills_outer": "major"}))
    a, b = (rank([one], BUYER, RULES)[0] for one in (before, found))
    assert a.opening_offer is not None and b.opening_offer is not None
    assert a.settling_price is not None and b.settling_price is not None
    cost = before.repair.items[0].expected_cost
    step = RULES.decision.paying.round_to
    assert a.opening_offer - b.opening_offer == pytest.approx(cost, abs=step)
    assert a.settling_price - b.settling_price == pytest.approx(RULES.decision.paying.found_off * cost, abs=step)
    assert any("was found" in reason.text for reason in b.price_reasons)


def test_what_each_finding_would_make_of_the_price() -> None:
    row = one(price=3500.0)
    assert {after.item for after in row.price_after} == {"sills_outer", "timing_belt"}
    assert row.walk_away is not None and row.settling_price is not None
    for after in row.price_after:
        assert after.walk_away < row.walk_away and after.settling <= row.settling_price
