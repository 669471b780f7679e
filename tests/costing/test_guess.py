"""The guess at repairs that a first look goes by."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import date

import numpy as np

from pipeline.costing import estimate
from pipeline.costing.guess import CostGuess
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.types import Buyer, Claim, Evidence, Status

BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
SAID: tuple[tuple[str, Status], ...] = (
    ("sills", "present"), ("sills", "done"), ("clutch", "due"), ("timing_belt", "done"), ("brakes", "present"),
    ("engine_smoke", "present"), ("service_record", "present"), ("chassis", "absent"),
)  # fmt: skip


def fleet(count: int, seed: int) -> Iterator[Evidence]:
    rng = random.Random(seed)
    for n in range(count):
        claims = tuple(
            Claim(subject, status, rng.choice(("slight", "plain", "heavy")), "said", 0, 4, "test", confidence=0.9)
            for subject, status in rng.sample(SAID, rng.randrange(6))
        )
        age, miles = rng.uniform(8, 40), rng.uniform(30_000, 220_000)
        facts = {"fuel": rng.choice(("diesel", "petrol")), "owners": rng.choice((None, 2, 5)), "test_expiry": "2027-05"}
        yield Evidence(f"{seed}-{n}", facts, claims, age, miles if n % 7 else None, date(2026, 10, 14), 90)


def test_it_orders_what_it_has_not_seen_as_the_whole_estimate_does() -> None:
    knowledge = load_knowledge(["general"], data_folder("rules"))
    taught, unseen = list(fleet(200, 1)), list(fleet(60, 2))
    costs = np.array([repair.samples.mean() for repair in estimate([*taught, *unseen], knowledge, BUYER)])
    guessed = CostGuess(taught, costs[:200]).of(unseen)
    assert np.corrcoef(guessed, costs[200:])[0, 1] > 0.85
    assert abs(float(np.mean(guessed) / np.mean(costs[200:])) - 1) < 0.1


def test_words_it_never_met_and_nothing_at_all() -> None:
    taught = list(fleet(60, 3))
    guess = CostGuess(taught, np.linspace(300, 3000, 60))
    strange = Evidence("x", {"fuel": "steam"}, (), None, None, date(2026, 10, 14))
    assert guess.of([]).shape == (0,)
    assert 300 <= float(guess.of([strange])[0]) < 6000
