"""The words of rules/facts/ load, compile, and say what they say."""

import re
from pathlib import Path

import pytest
from pydantic import ValidationError

from pipeline.nlp.facts.phrases import count, phrase, source
from pipeline.nlp.facts.roadtest import dates, rules
from pipeline.nlp.facts.scene import countries
from pipeline.paths import data_folder
from pipeline.schemas.facts import Cue, Value, load_cues, load_values

CUES = ("price", "mileage", "year")
VALUES = ("terms", "owners", "history", "engine", "stated")


def all_phrases() -> list[tuple[str, str]]:
    folder = data_folder("rules")
    found: list[tuple[str, str]] = []
    for name in CUES:
        found += [(name, text) for cue in load_cues(folder, name).cues for text in cue.words]
    for name in VALUES:
        read = load_values(folder, name)
        found += [(name, text) for item in read.values for text in item.words]
        found += [(name, text) for words in read.lists.values() for text in words]
    found += [("roadtest", text) for words in rules().names.values() for text in words]
    found += [("roadtest", text) for cue in rules().states for text in cue.words]
    found += [("countries", text) for one in countries().countries for words in one.words.values() for text in words]
    return found


def test_every_file_is_read_by_somebody() -> None:
    files = {path.stem for path in (Path(data_folder("rules")) / "facts").glob("*.yaml")}
    assert files == {*CUES, *VALUES, "roadtest", "countries"}


def test_every_plain_phrase_matches_itself() -> None:
    phrases = all_phrases()
    assert len(phrases) > 1_000
    for name, text in phrases:
        made = re.compile(source(text))
        if not set(text) & set("(|[{*"):
            assert made.fullmatch(text.lower()), f"{name}: {text!r}"


@pytest.mark.parametrize(
    ("text", "matches", "misses"),
    [
        ("{n} (owner|keeper)", ["2 owner", "three keeper", "2nd owner"], ["owner", "two, owner"]),
        ("full [service] history", ["full history", "full service history"], ["full of history"]),
        ("receipt*", ["receipt", "receipts"], ["receipts for"]),
        ("n/s", ["n/s"], ["ns"]),
        ("month's", ["month's", "month’s", "months"], ["month"]),
    ],
)
def test_notation(text: str, matches: list[str], misses: list[str]) -> None:
    made = phrase(text).pattern
    assert all(made.fullmatch(one) for one in matches)
    assert not any(made.fullmatch(one) for one in misses)


def test_phrases_respect_word_boundaries() -> None:
    assert phrase("ono").pattern.search("900 ono") is not None
    assert phrase("ono").pattern.search("piano ono mono".replace("ono ", "")) is None


def test_number_words() -> None:
    assert [count(word) for word in ("two", "3", "4th", "second", "owner")] == [2, 3, 4, 2, None]


def test_an_empty_phrase_and_an_unknown_side_are_refused() -> None:
    good = {"id": "x", "side": "before", "near": "touch", "weight": 1, "words": "one, two"}
    assert Cue.model_validate(good).words == ("one", "two")
    for wrong in ({"words": "one,, two"}, {"side": "beside"}, {"near": "far"}, {"colour": "red"}):
        with pytest.raises(ValidationError):
            Cue.model_validate(good | wrong)


@pytest.mark.parametrize(
    ("text", "month", "year", "day"),
    [
        ("11th dec", 12, None, 11), ("8th of january", 1, None, 8), ("may 27", 5, 2027, None), ("dec 30", 12, None, 30),
        ("12 apr 2027", 4, 2027, 12), ("jan '27", 1, 2027, None), ("next june", 6, None, None), ("sept", 9, None, None),
    ],
)  # fmt: skip
def test_months(text: str, month: int, year: int | None, day: int | None) -> None:
    (found,) = dates().months(text, 2026)
    assert (found.month, found.year, found.day) == (month, year, day)


@pytest.mark.parametrize(
    ("text", "month_first", "month", "year"),
    [
        ("19/08/27", False, 8, 2027), ("10/30/26", True, 10, 2026), ("04.2027", False, 4, 2027),
        ("3/27", True, 3, 2027),
        ("2027-03", False, 3, 2027), ("30-04-2027", False, 4, 2027), ("28/2", False, 2, None),
    ],
)  # fmt: skip
def test_figures(text: str, month_first: bool, month: int, year: int | None) -> None:
    (found,) = dates().figures(text, month_first)
    assert (found.month, found.year) == (month, year)


@pytest.mark.parametrize(
    ("words", "told"),
    [("{n} of {n} stamps", "more than one"), ("(fsh|full history", "bracket"), ("stamped] up", "bracket")],
)
def test_a_phrase_that_cannot_be_read_is_told(words: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        Value(id="full", value="full", weight=1, words=words)  # type: ignore[arg-type]
