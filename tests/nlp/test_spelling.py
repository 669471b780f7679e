"""Slips of the pen in long words, and all that must not be taken for one."""

from __future__ import annotations

import pytest

from pipeline.nlp.spelling import Spelling
from pipeline.nlp.tokens import Normaliser, normal, tokenize

RULES = ("headlining", "suspension", "exhaust", "interior", "radiator", "heating", "gasket", "gaskit", "clutch", "drum")


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("headlinning", "headlining"),  # a letter too many
        ("interor", "interior"),  # one missing
        ("radiater", "radiator"),  # one wrong
        ("exhuast", "exhaust"),  # two that changed places
        ("suspentoin", "suspension"),  # two slips in a long word
        ("Suspention", "suspension"),  # begins a sentence
    ],
)
def test_a_slip_in_a_long_word_is_put_right(written: str, meant: str) -> None:
    assert Spelling(RULES).right(written, normal(written)) == meant


@pytest.mark.parametrize(
    "word",
    [
        "heading",  # an English word a letter from one of the rules
        "gaskit",  # a slip that the rules name
        "drun",  # too short
        "Gaskin",  # a name
        "xhaust",  # nobody leaves out the first letter
        "clonmel",
        "interyyr",  # two slips in a word of eight letters
        "ehauster",
        "9000000",
    ],
)
def test_what_may_be_a_word_of_its_own_stays(word: str) -> None:
    assert Spelling(RULES).right(word, normal(word)) == normal(word)


def test_offsets_are_those_of_the_text_as_written() -> None:
    text = "Its exhuast blows"
    tokens = tokenize(text, Normaliser(Spelling(RULES)))
    assert tokens.norms[1] == "exhaust"
    assert text[tokens.starts[1] : tokens.ends[1]] == "exhuast"
