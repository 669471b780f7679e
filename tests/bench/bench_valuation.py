"""Prints how the value model does on open data against the usual regressors. Minutes long.

    python tests/bench/bench_valuation.py [DATA …]

First table: mean absolute error / mean absolute percentage error, leave-one-out (five folds, five times, for
car_prices), and with eight comparables drawn at random. Second: 90 % intervals over random splits, coverage and mean
width over the prediction, ours against jackknife+ on the linear model.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / "checks"), str(Path(__file__).resolve().parents[2])]

from open_prices import (  # noqa: E402
    RIVALS,
    absolute_errors,
    folds,
    linear_interval,
    load,
    ours,
    ours_interval,
    random_splits,
)

NAMES = ("ThreeCars2017", "AccordPrice", "PorschePrice", "car_prices")


def main(names: tuple[str, ...]) -> None:
    """Prints both tables for the named data sets."""
    models = {**RIVALS, "ours": ours}
    for name in names:
        sales = load(name)
        count = len(sales.price)
        long = folds(count, count, 1) if count < 200 else folds(count, 5, 5)
        few = random_splits(count, 8, 60 if count < 200 else 40)
        print(f"\n{name}, {count} rows            all but one fold     8 comparables")
        for model, predict in models.items():
            mae, mape = absolute_errors(sales, predict, long)
            few_mae, few_mape = absolute_errors(sales, predict, few)
            print(f"{model:22s} {mae:10.3f} / {mape:4.1f} {few_mae:14.3f} / {few_mape:4.1f}", flush=True)
        train = round(count * 2 / 3) if count < 200 else 200
        for label, interval in (("ours", ours_interval), ("jackknife+, linear", linear_interval)):
            covered, width = [], []
            for known, new in random_splits(count, train, 200, seed=3):
                low, high = interval(sales, known, new)
                covered.append(np.mean((low <= sales.price[new]) & (sales.price[new] <= high)))
                width.append(np.mean((high - low) / np.sqrt(low * high)))
            print(
                f"90 % interval, {label:20s} covers {np.mean(covered):.3f}, relative width {np.mean(width):.3f}",
                flush=True,
            )


if __name__ == "__main__":
    main(tuple(sys.argv[1:]) or NAMES)
