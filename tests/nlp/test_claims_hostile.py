"""Hostile texts: read in time linear in their length, with offsets that are right, and nothing raised."""

import time
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.nlp.reader import Reader
from pipeline.schemas.language import load_language
from pipeline.types import Claim

READER = Reader(load_language(Path(__file__).parents[2] / "rules"))
SAVED = date(2026, 10, 14)
PIECES = [
    "no ", "not ", "needs ", "rust ", "sills ", "new clutch ", "sills rusty, ", "no rust, ", "and ", "might ", "- ",
    "(", "[({", ") ", ":", "Work done:\n", "? ", "! ", ".", "\n", "\n- ", "a.", "1,111", "9", "£1,0", "a/",
    "'", "'a", "x",
    "bar the ", "they all ", "2019 ", "at 90k ", "two years ago ", "\u0301", "\u202e", "\x00", "\ufeff", "é", "😀", " ",
    "\u200bsills", "oil ", "slight ", "cambelt at ",
]  # fmt: skip


def read(text: str) -> tuple[Claim, ...]:
    claims = READER.read_claims(text, SAVED, 118_000)
    for one in claims:
        assert text[one.start : one.end] == one.quote
        assert 0 <= one.start < one.end <= len(text)
    return claims


def seconds(text: str) -> float:
    start = time.process_time()
    read(text)
    return time.process_time() - start


@pytest.mark.parametrize("piece", PIECES)
def test_time_is_linear_in_repeats(piece: str) -> None:
    seconds(piece * 100)
    short = min(seconds(piece * 2_500) for _ in range(3))
    long = min(seconds(piece * 10_000) for _ in range(2))
    assert long < 10 * short + 0.05


def test_a_megabyte_on_one_line() -> None:
    text = ("sills solid new clutch no rust on the arches needs tyres at 90k slight oil leak " * 14_000)[:1_000_000]
    start = time.process_time()
    claims = read(text)
    assert time.process_time() - start < 60
    assert {("sills", "absent"), ("clutch", "done")} <= {(one.subject, one.status) for one in claims}


@pytest.mark.parametrize("sign", ["\U00011052", "²", "①", "٣", "९", "Ⅷ"])
def test_signs_that_are_figures_of_some_kind_only_do_no_harm(sign: str) -> None:
    """The first three are digits by Unicode and no decimal number; the last is a number and no digit."""
    for text in (
        sign,
        f"cambelt {sign} years ago",
        f"new clutch in 20{sign}",
        f"spring '{sign}{sign}, belt at {sign}k",
    ):
        read(text)


def test_marks_that_cannot_be_seen_hide_nothing() -> None:
    for text in ("si\u200blls rus\u00adty", "\u202esills rusty", "sills\x00 rusty", "ｓｉｌｌｓ ｒｕｓｔｙ"):
        assert [(one.subject, one.status) for one in read(text)] == [("sills", "present")]


def test_brackets_that_never_close() -> None:
    read("(" * 20_000 + "sills rusty" + "[" * 20_000)


def test_empty_texts() -> None:
    for text in ("", " ", "\n", "\x00", "...", "\u202e"):
        assert read(text) == ()


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=400))
def test_any_text_is_read(text: str) -> None:
    read(text)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.sampled_from(PIECES), max_size=60).map("".join))
def test_offsets_are_those_of_the_text(text: str) -> None:
    read(text)
