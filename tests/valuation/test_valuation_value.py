"""The value stage on pools with known truth, on odd input and with nothing to go on."""

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.schemas.value_priors import ValuePriors, load_value_priors
from pipeline.types import Buyer, Comparable, Valuation
from pipeline.valuation import value

RULES = Path(__file__).resolve().parents[2] / "rules"
AS_OF = date(2026, 10, 31)
PRIORS = load_value_priors(["general"], RULES)
UNSAID = 1 + PRIORS.number("repair.unsaid")


def a_buyer(guide: float | None = None) -> Buyer:
    return Buyer("Settle", "everyday", "GBP", "uk", 60.0, 0.45, 12.0, guide_price=guide)


def a_vehicle(ref: str = "1", price: float | None = 6000.0, **other: object) -> Comparable:
    known: dict[str, object] = {
        "price_terms": None,
        "year": 1998.0,
        "mileage_miles": 100_000.0,
        "fuel": "diesel",
        "engine_litres": 2.1,
        "gearbox": "manual",
        "service_history": "part",
        "test_months_left": 6.0,
        "disclosed_repair": 0.0,
    }
    return Comparable(ref=ref, asking_price=price, **(known | other))  # type: ignore[arg-type]


def a_pool(count: int, seed: int = 0, noise: float = 0.1) -> tuple[list[Comparable], list[float]]:
    """Vehicles with asking prices around their true sound value, and those true values."""
    rng = np.random.default_rng(seed)
    vehicles, truth = [], []
    for n in range(count):
        year, miles = float(rng.integers(1988, 2004)), float(rng.uniform(60_000, 160_000))
        sound = 6000 * math.exp(0.03 * (year - 1996) - 0.04 * (miles - 100_000) / 10_000)
        asked = sound / UNSAID / (1 - PRIORS.number("discount.private")) * math.exp(rng.normal(0, noise))
        vehicles.append(a_vehicle(str(n), round(asked), year=year, mileage_miles=round(miles)))
        truth.append(sound)
    return vehicles, truth


def a_moody_pool(count: int, seed: int, noise: float) -> tuple[list[Comparable], list[float]]:
    """As `a_pool`, but part of the noise is the vehicle's own worth, as the rules put it, the rest the seller's."""
    rng, share = np.random.default_rng(seed + 100), PRIORS.number("noise.vehicle_share")
    vehicles, truth = a_pool(count, seed, noise * math.sqrt(1 - share))
    own = np.exp(rng.normal(0, noise * math.sqrt(share), count))
    moved = [replace(v, asking_price=(v.asking_price or 0) * factor) for v, factor in zip(vehicles, own, strict=True)]
    return moved, [true * factor for true, factor in zip(truth, own, strict=True)]


def values(vehicles: list[Comparable], guide: float | None = None, priors: ValuePriors = PRIORS) -> list[Valuation]:
    return value(vehicles, priors, a_buyer(guide), AS_OF)


def ratios(found: list[Valuation], truth: list[float]) -> list[float]:
    assert all(v.p50 is not None for v in found)
    return [v.p50 / true for v, true in zip(found, truth, strict=True) if v.p50 is not None]


def test_fifty_adverts_take_over_from_a_wrong_guide_price() -> None:
    vehicles, truth = a_pool(50)
    off = ratios(values(vehicles, guide=12_000), truth)
    assert np.median(off) == pytest.approx(1, abs=0.08)
    assert np.std(np.log(ratios(values(vehicles), truth))) < 0.08


@pytest.mark.parametrize("seed", range(5))
def test_five_adverts_with_a_guide_price_are_enough_to_start(seed: int) -> None:
    vehicles, truth = a_pool(6, seed)
    middling = float(np.median(truth))
    found = values(vehicles, guide=middling)
    assert all(v.basis == "pool" and v.comparables == 5 for v in found)
    assert np.median(np.abs(np.log(ratios(found, truth)))) < 0.12


@pytest.mark.parametrize("count", [8, 16, 70])
def test_p10_to_p90_holds_the_true_worth_eight_times_in_ten(count: int) -> None:
    inside = []
    for seed in range(60 if count < 70 else 8):
        vehicles, truth = a_moody_pool(count, seed, 0.16)
        found = values(vehicles, guide=6000)
        inside += [(v.p10 or 0) <= true <= (v.p90 or 0) for v, true in zip(found, truth, strict=True)]
    assert 0.72 <= np.mean(inside) <= 0.9


def test_order_and_shape_of_the_answer() -> None:
    vehicles, _ = a_pool(12)
    found = values(vehicles)
    assert [v.ref for v in found] == [v.ref for v in vehicles]
    for v in found:
        assert v.p10 is not None and v.p50 is not None and v.p90 is not None and v.mean is not None
        assert v.p10 < v.p50 < v.p90 and v.log_mean == pytest.approx(math.log(v.p50))
        assert v.log_sd == pytest.approx(math.log(v.p90 / v.p10) / 2.5631, rel=1e-4)
        assert v.mean == pytest.approx(v.p50 * math.exp((v.log_sd or 0) ** 2 / 2))


def test_nothing_to_go_on_invents_no_number() -> None:
    for vehicles in ([a_vehicle()], [a_vehicle(price=None), a_vehicle("2", None)]):
        for found in values(vehicles):
            assert found.basis == "none" and found.comparables == 0
            assert (found.mean, found.p10, found.p50, found.p90, found.log_mean, found.log_sd) == (None,) * 6
            assert "guide_price" in found.reasons[0].text
    assert values([]) == []


def test_guide_price_alone() -> None:
    found = values([a_vehicle(price=2000)], guide=6500)[0]
    assert found.basis == "guide" and found.p50 == pytest.approx(6500, rel=0.1)
    assert any("no other advert" in reason.text for reason in found.reasons)


def test_one_neighbour_is_a_prior_basis_with_a_wide_interval() -> None:
    found = values([a_vehicle("1", 5000), a_vehicle("2", 6000)])[0]
    assert found.basis == "prior" and found.comparables == 1
    assert found.p50 == pytest.approx(6000, rel=0.1)
    assert found.p90 is not None and found.p10 is not None and found.p90 / found.p10 > 1.3


def test_below_nine_the_reasons_say_that_the_interval_is_the_priors() -> None:
    few, enough = values(a_pool(9)[0])[0], values(a_pool(10)[0])[0]
    assert "fewer than the 9" in few.reasons[-1].text and few.comparables == 8
    assert "jackknife+" in enough.reasons[-1].text and enough.comparables == 9


def test_own_price_does_not_carry_its_own_value() -> None:
    vehicles, _ = a_pool(20)
    dearer = [replace(vehicles[0], asking_price=vehicles[0].asking_price * 1.3), *vehicles[1:]]  # type: ignore[operator]
    before, after = values(vehicles)[0].p50, values(dearer)[0].p50
    assert before is not None and after == pytest.approx(before, rel=0.02)


@pytest.mark.parametrize("factor", [10, 0.1])
def test_a_price_ten_times_off_is_flagged_and_not_learned_from(factor: float) -> None:
    vehicles, truth = a_pool(15)
    vehicles[3] = replace(vehicles[3], asking_price=vehicles[3].asking_price * factor)  # type: ignore[operator]
    found = values(vehicles)
    assert found[3].flags == ("price_typo",) and found[3].expected_price is None
    assert found[3].p50 == pytest.approx(truth[3], rel=0.15)
    assert all(not v.flags and v.comparables == 13 for n, v in enumerate(found) if n != 3)


@pytest.mark.parametrize("miles", [9_800, 1_180_000, 118])
def test_a_mileage_ten_times_off_is_flagged_and_taken_as_unknown(miles: float) -> None:
    vehicles, truth = a_pool(15)
    vehicles[3] = replace(vehicles[3], mileage_miles=miles)
    found = values(vehicles)
    assert found[3].flags == ("mileage_typo",)
    assert found[3].p50 == pytest.approx(truth[3], rel=0.3)
    assert all("mileage_typo" not in v.flags for n, v in enumerate(found) if n != 3)


def test_a_year_far_from_every_other_is_flagged_and_not_followed() -> None:
    vehicles, truth = a_pool(15)
    vehicles[3] = replace(vehicles[3], year=2024.0)
    found = values(vehicles)
    assert found[3].flags == ("year_typo",) and found[3].p50 == pytest.approx(truth[3], rel=0.3)
    assert all("year_typo" not in v.flags for n, v in enumerate(found) if n != 3)


def test_a_real_low_mileage_that_the_price_shows_is_believed() -> None:
    vehicles, _ = a_pool(15)
    vehicles[3] = a_vehicle("3", 9900, mileage_miles=12_500)
    assert "mileage_typo" not in values(vehicles)[3].flags


def test_a_bait_price_is_far_below_and_valued_all_the_same() -> None:
    vehicles, truth = a_pool(15)
    vehicles[3] = replace(vehicles[3], asking_price=truth[3] * 0.4)
    for kept in (True, False):
        found = values([*vehicles[:3], replace(vehicles[3], kept=kept), *vehicles[4:]])
        assert found[3].flags == ("price_far_below",)
        assert found[3].p50 == pytest.approx(truth[3], rel=0.12)
        assert found[0].comparables == 13  # beyond belief, it is not learned from even when nobody set it aside
        assert any("far below" in reason.text for reason in found[3].reasons)


def test_an_admitted_fault_is_a_stated_reason_for_a_low_price() -> None:
    vehicles, truth = a_pool(15)
    vehicles[3] = replace(vehicles[3], asking_price=truth[3] * 0.5, disclosed_repair=truth[3] * 0.6)
    found = values(vehicles)[3]
    assert found.flags == () and any("Admitted repair" in reason.text for reason in found.reasons)


def test_a_dream_price_is_far_above() -> None:
    vehicles, truth = a_pool(15)
    vehicles[3] = replace(vehicles[3], asking_price=truth[3] * 2.2)
    assert values(vehicles)[3].flags == ("price_far_above",)


def test_poor_vehicles_do_not_drag_the_sound_value() -> None:
    vehicles, truth = a_pool(24)
    poor = [
        replace(v, asking_price=v.asking_price - 1500, disclosed_repair=2150.0) if n % 3 == 0 else v  # type: ignore[operator]
        for n, v in enumerate(vehicles)
    ]
    netted, unaware = (
        np.median(ratios(values(pool), truth)) for pool in (poor, [replace(v, disclosed_repair=0.0) for v in poor])
    )
    assert abs(netted - 1) < 0.06 and unaware < netted - 0.03


def test_a_record_and_changes_explain_a_price_but_are_left_to_the_buyers_purpose() -> None:
    vehicles, truth = a_pool(24)
    for n in (2, 9):
        vehicles[n] = replace(vehicles[n], written_off=True, asking_price=vehicles[n].asking_price * 0.75)  # type: ignore[operator]
    found = values(vehicles)
    for n in (2, 9):
        assert not found[n].flags and found[n].p50 == pytest.approx(truth[n], rel=0.15)
        assert any(reason.rule == "value.written_off" for reason in found[n].reasons)


def test_trade_prices_are_valued_as_private_sales() -> None:
    vehicles, truth = a_pool(30)
    for n in range(0, 30, 3):
        vehicles[n] = replace(vehicles[n], seller_kind="trade", asking_price=vehicles[n].asking_price * 1.15)  # type: ignore[operator]
    assert np.median(ratios(values(vehicles), truth)[::3]) == pytest.approx(1, abs=0.07)


def test_missing_year_and_mileage_widen_the_interval_and_are_said() -> None:
    vehicles, _ = a_pool(20)
    known = values(vehicles)[5]
    bare = values([*vehicles[:5], replace(vehicles[5], mileage_miles=None, year=None), *vehicles[6:]])[5]
    assert (bare.log_sd or 0) > (known.log_sd or 9)
    said = [reason.text for reason in bare.reasons]
    assert sum("not stated: the interval is wider" in text for text in said) == 2


def test_reasons_carry_amounts_that_add_up() -> None:
    vehicles, _ = a_pool(30)
    old = a_vehicle("old", 4000, year=1988.0, mileage_miles=150_000, service_history="full")
    reasons = {reason.rule: reason.text for reason in values([*vehicles, old])[-1].reasons}
    assert "miles more than the middling one: GBP" in reasons["value.mileage"] and "less" in reasons["value.mileage"]
    assert "older" in reasons["value.age"] and "more" in reasons["value.history.full"]
    assert (
        reasons["value.level"].startswith("A sound one of middling age")
        and "30 other adverts" in reasons["value.level"]
    )


def test_expected_price_follows_terms_and_sellers() -> None:
    vehicles, _ = a_pool(10)
    asks = [
        a_vehicle("a", 6000, price_terms="fixed"),
        a_vehicle("b", 6000),
        a_vehicle("c", 6000, price_terms="negotiable"),
    ]
    firm, plain, open_ = (v.expected_price for v in values([*vehicles, *asks])[-3:])
    assert firm is not None and plain is not None and open_ is not None
    assert 6000 > firm > plain > open_ > 5000
    offers, silent = values([*vehicles, a_vehicle("d", None, price_terms="offers"), a_vehicle("e", None)])[-2:]
    assert offers.expected_price == pytest.approx(offers.p50) and silent.expected_price is None


def test_early_ones_may_rise() -> None:
    """A pool in which the oldest are the dearest is followed."""
    rng = np.random.default_rng(4)
    vehicles = []
    for n in range(40):
        year = float(rng.integers(1980, 2002))
        sound = 5000 * math.exp(0.003 * (year - 1992) ** 2)
        vehicles.append(a_vehicle(str(n), round(sound * math.exp(rng.normal(0, 0.08))), year=year))
    found = values([*vehicles, *(a_vehicle(f"x{y}", None, year=float(y)) for y in (1981, 1992, 2001))])[-3:]
    early, middle, late = (v.p50 or 0 for v in found)
    assert early > 1.15 * middle and late > 1.1 * middle


odd = st.one_of(
    st.none(), st.floats(allow_nan=False), st.sampled_from([0.0, -1.0, math.nan, math.inf, 1e-9, 1e12, 6000.0, 1990.0])
)
wild = st.builds(
    lambda price, year, miles, litres, months, repair, kept, terms, kind, fuel: a_vehicle(
        price=price,
        year=year,
        mileage_miles=miles,
        engine_litres=litres,
        test_months_left=months,
        disclosed_repair=repair,
        kept=kept,
        price_terms=terms,
        seller_kind=kind,
        fuel=fuel,
    ),
    odd,
    odd,
    odd,
    st.one_of(st.none(), st.floats(-1, 20)),
    st.one_of(st.none(), st.floats(-5, 50)),
    st.floats(0, 50_000),
    st.booleans(),
    st.sampled_from([None, "fixed", "negotiable", "offers", "auction"]),
    st.sampled_from(["private", "trade", "auction"]),
    st.sampled_from([None, "petrol", "diesel", "lpg", "steam"]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(wild, max_size=12), st.sampled_from([None, 6000.0]))
def test_any_input_gives_finite_figures_or_none(vehicles: list[Comparable], guide: float | None) -> None:
    found = values(vehicles, guide)
    assert len(found) == len(vehicles)
    for v in found:
        figures = (v.mean, v.p10, v.p50, v.p90, v.log_mean, v.log_sd)
        assert figures == (None,) * 6 or all(f is not None and math.isfinite(f) for f in figures)
        assert v.reasons and (v.basis == "none") == (v.mean is None)
