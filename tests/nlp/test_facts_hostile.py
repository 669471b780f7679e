"""Hostile texts are read in time linear in their length."""

import time
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.nlp.facts import read_facts

DAY = date(2026, 11, 2)
PIECES = [
    "a", "9", "1 ", "£", "£1,000 ", "mot ", "no mot to ", "test (", "12 months ", "1.9 ", "1998 ", "in 1998 ",
    "- ", "((((",
    "owner ", "two owners ", "vin ABC 1234 ", "plate AB12 ", "100,000 miles at ", "x x x", "sixty thousand ", "1/2/",
    "07700 ", "+44 ", "diesel ", "reg ", "A1 ", "k", "ab-", "\n", " ", "\u00a0", "'", "1,000,", "1.000.", "or near ",
]  # fmt: skip


def seconds(text: str) -> float:
    start = time.perf_counter()
    read_facts(text, DAY)
    return time.perf_counter() - start


@pytest.mark.parametrize("piece", PIECES)
def test_time_is_linear_in_repeats(piece: str) -> None:
    seconds(piece * 100)  # rules loaded
    short = min(seconds(piece * 2_500) for _ in range(2))
    long = min(seconds(piece * 10_000) for _ in range(2))
    assert long < 1.0 + 8 * short, f"{piece!r}: {short:.3f} s for 2,500, {long:.3f} s for 10,000"


def test_a_megabyte_in_one_line() -> None:
    text = "Marden Fennel 1.4 petrol, £1,850 ono, 118,000 miles, MOT to March, belt done at 96k. " * 12_000
    start = time.perf_counter()
    chosen, rivals = read_facts(text[:1_000_000], DAY)
    assert time.perf_counter() - start < 30
    assert {fact.key: fact.value for fact in chosen}["asking_price"] == 1850
    assert len(rivals) < 200


@settings(max_examples=150, deadline=None)
@given(st.lists(st.one_of(st.sampled_from(PIECES), st.text(max_size=12)), max_size=40).map("".join))
def test_no_text_breaks_it(text: str) -> None:
    chosen, rivals = read_facts(text, DAY)
    assert len({fact.key for fact in chosen}) == len(chosen)
    for fact in (*chosen, *rivals):
        assert text[fact.start : fact.end] == fact.quote
