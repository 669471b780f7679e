"""What speaks for a vehicle, in the seller's words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from pipeline.paths import data_folder
from pipeline.ranking import rank
from pipeline.ranking.speaks_for import speaks_for
from pipeline.schemas.decision import load_decision
from pipeline.types import Buyer, Claim, Evidence, ItemBelief, Prospect, RepairEstimate, Status, Valuation

RULES = load_decision(data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
ITEMS = (  # subject, expected cost, chance of needing work: what its failure would cost is their quotient
    ("sills", 300.0, 0.2),
    ("timing_belt", 60.0, 0.2),
    ("clutch", 90.0, 0.1),
    ("gearbox", 90.0, 0.05),
    ("tyres", 60.0, 0.3),
    ("accident", 40.0, 0.01),
)


def claim(subject: str, status: Status, quote: str, confidence: float = 0.9) -> Claim:
    return Claim(subject, status, "plain", quote, 0, 5, "test", confidence=confidence)


def prospect(*claims: Claim, admitted: str = "") -> Prospect:
    items = tuple(
        ItemBelief(
            s, s, "g", "service" if s == "timing_belt" else "fault", 1 - bad, bad, 0.0, cost, s == admitted, (s,), 1
        )
        for s, cost, bad in ITEMS
    )
    costs = np.full((50, len(items)), 20.0, np.float32)
    return Prospect(
        "1", ("1",), "van", Evidence("1", {}, claims, 28.0, 90000.0, date(2026, 10, 31), 90),
        RepairEstimate("1", items, costs, {}, 0.0, 100.0),
        Valuation("1", 5000.0, 4000.0, 5000.0, 6000.0, np.log(5000.0), 0.15, "pool", 12), 4000.0, "GBP", 20.0, "Hexham",
    )  # fmt: skip


def told(*claims: Claim, admitted: str = "") -> tuple[str, str]:
    """What is named and the words for it."""
    reasons = speaks_for(prospect(*claims, admitted=admitted), RULES)
    assert len(reasons) < 2
    return next(((one.text.removeprefix("told in its favour: "), one.quote) for one in reasons), ("", ""))


def test_the_essentials_first_then_the_dearest_work() -> None:
    said = (
        claim("tyres", "done", "new tyres"),
        claim("clutch", "done", "clutch last year"),
        claim("gearbox", "done", "gearbox rebuilt"),
        claim("sills", "absent", "no rot in the sills"),
    )
    words = "no rot in the sills … gearbox rebuilt … clutch last year"
    assert told(*said) == ("a sound structure, gearbox done, clutch done", words)


def test_of_an_essential_the_surest_words() -> None:
    said = (claim("sills", "absent", "fairly solid", 0.6), claim("chassis", "done", "chassis legs replated", 0.97))
    assert told(*said) == ("a sound structure", "chassis legs replated")


@pytest.mark.parametrize("status", ["present", "due", "possible"])
def test_what_is_praised_and_blamed_speaks_for_nothing(status: Status) -> None:
    assert told(claim("sills", "done", "sills done 2016"), claim("sills", status, "sills bubbling")) == ("", "")
    assert told(claim("clutch", "done", "clutch done"), claim("clutch", status, "clutch slips")) == ("", "")


def test_work_that_is_due_again_speaks_for_nothing() -> None:
    belt = claim("timing_belt", "done", "belt 2014")
    assert told(belt) == ("the timing belt or chain done", "belt 2014")
    assert told(belt, admitted="timing_belt") == ("", "")


def test_only_work_that_is_named_in_the_rules() -> None:
    assert told(claim("accident", "done", "wing repaired after a knock")) == ("", "")


def test_the_same_words_speak_once() -> None:
    both = "clutch and gearbox done together"
    assert told(claim("clutch", "done", both), claim("gearbox", "done", both)) == ("gearbox done", both)


def test_nothing_told_speaks_for_nothing() -> None:
    assert told() == ("", "")
    bare = prospect()
    assert speaks_for(replace(bare, repair=replace(bare.repair, items=())), RULES) == []


def test_the_ranking_gives_them_after_the_price_and_before_what_is_feared() -> None:
    (row,) = rank([prospect(claim("sills", "absent", "no rot in the sills"))], BUYER, RULES)
    texts = [reason.text for reason in row.reasons]
    place = texts.index("told in its favour: a sound structure")
    assert texts[place - 1].startswith("asked about") and texts[place + 1].startswith("expected repairs")


def test_a_service_told_as_done_and_due_again_is_no_admission() -> None:
    belt = claim("timing_belt", "done", "belt 2014")
    dear = prospect(belt, admitted="timing_belt")
    items = tuple(replace(i, expected_cost=400.0) if i.item == "timing_belt" else i for i in dear.repair.items)
    (row,) = rank([replace(dear, repair=replace(dear.repair, items=items))], BUYER, RULES)
    said = next(reason.text for reason in row.reasons if reason.rule == "timing_belt")
    assert said.endswith("done once and due again")
