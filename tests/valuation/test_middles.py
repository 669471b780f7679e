"""Sound values of many by the prices of a few: the same as the whole model gives, without what it gives besides."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from pipeline.paths import data_folder
from pipeline.schemas.value_priors import load_value_priors
from pipeline.types import Buyer, Comparable
from pipeline.valuation import Middles, value

PRIORS = load_value_priors(["general"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
DAY = date(2026, 10, 14)


def comparables(count: int, seed: int) -> Iterator[Comparable]:
    rng = random.Random(seed)
    for n in range(count):
        year, miles = rng.uniform(1988, 2004), rng.uniform(40_000, 200_000)
        sound = 9000 * np.exp(0.06 * (year - 1996) - 0.3 * np.log(miles / 100_000)) * rng.lognormvariate(0, 0.12)
        yield Comparable(
            f"{seed}-{n}", round(sound, -1), "negotiable", year, miles, rng.choice(["diesel", "petrol"]),
            rng.choice([1.9, 2.4]), rng.choice(["manual", "auto", None]), rng.choice(["full", "part", None]),
            rng.choice([0.0, 5.0, 11.0, None]), 0.0,
        )  # fmt: skip


@pytest.mark.parametrize("guide", [None, 8000.0])
def test_as_the_whole_model_says(guide: float | None) -> None:
    sample, others = list(comparables(120, 1)), list(comparables(60, 2))
    buyer = replace(BUYER, guide_price=guide)
    quick = Middles(sample, PRIORS, buyer, DAY).of(others)
    unpriced = [replace(one, asking_price=None) for one in others]
    whole = [v.p50 for v in value([*sample, *unpriced], PRIORS, buyer, DAY)][len(sample) :]
    gaps = np.abs(np.log(quick / np.array(whole, float)))
    assert np.max(gaps) < 0.02  # the columns are centred on other vehicles, nothing else differs
    assert np.std(np.log(quick)) > 0.2, "or the test would say little"


def test_in_parts_as_at_once() -> None:
    sample, others = list(comparables(80, 3)), list(comparables(40, 4))
    model = Middles(sample, PRIORS, BUYER, DAY)
    parts = np.concatenate([model.of(others[:20]), model.of(others[20:])])
    assert np.max(np.abs(np.log(parts / model.of(others)))) < 0.02
    assert model.of([]).shape == (0,)


def test_their_own_prices_play_no_part() -> None:
    sample, others = list(comparables(80, 5)), list(comparables(20, 6))
    model = Middles(sample, PRIORS, BUYER, DAY)
    dearer = [replace(one, asking_price=(one.asking_price or 0) * 3) for one in others]
    assert np.array_equal(model.of(others), model.of(dearer))


def test_without_prices_the_guide_price_or_nothing() -> None:
    bare = [replace(one, asking_price=None) for one in comparables(30, 7)]
    others = list(comparables(10, 8))
    assert np.isnan(Middles(bare, PRIORS, BUYER, DAY).of(others)).all()
    guided = Middles(bare, PRIORS, replace(BUYER, guide_price=5000.0), DAY).of(others)
    assert np.all((guided > 1500) & (guided < 15000)) and np.std(guided) > 100
