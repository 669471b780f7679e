"""Registration letters and age codes against the published periods (DVLA INF104; Irish format since 1987)."""

from itertools import pairwise

import pytest

from pipeline.nlp.registration import (
    age_code_years,
    bare_letter_years,
    irish_years,
    letter_years,
    mark_years,
    table,
)


@pytest.mark.parametrize(
    ("letter", "shape", "years"),
    [
        ("A", "suffix", (1963,)),
        ("D", "suffix", (1966,)),
        ("E", "suffix", (1967,)),
        ("F", "suffix", (1967, 1968)),
        ("V", "suffix", (1979, 1980)),
        ("Y", "suffix", (1982, 1983)),
        ("A", "prefix", (1983, 1984)),
        ("N", "prefix", (1995, 1996)),
        ("R", "prefix", (1997, 1998)),
        ("S", "prefix", (1998, 1999)),
        ("T", "prefix", (1999,)),
        ("V", "prefix", (1999, 2000)),
        ("W", "prefix", (2000,)),
        ("Y", "prefix", (2001,)),
        ("I", "prefix", ()),
        ("Q", "suffix", ()),
    ],
)
def test_letters(letter: str, shape: str, years: tuple[int, ...]) -> None:
    assert letter_years(letter, "suffix" if shape == "suffix" else "prefix") == years


@pytest.mark.parametrize(
    ("code", "years"),
    [
        ("51", (2001, 2002)), ("02", (2002,)), ("52", (2002, 2003)), ("03", (2003,)), ("53", (2003, 2004)),
        ("14", (2014,)), ("64", (2014, 2015)), ("75", (2025, 2026)), ("00", ()), ("01", ()), ("50", ()), ("5", ()),
        ("x1", ()),
    ],
)  # fmt: skip
def test_age_codes(code: str, years: tuple[int, ...]) -> None:
    assert age_code_years(code) == years


@pytest.mark.parametrize(
    ("prefix", "years"),
    [("87", (1987,)), ("98", (1998,)), ("04", (2004,)), ("12", (2012,)), ("131", (2013,)), ("142", (2014,)),
     ("13", ()), ("86", ()), ("123", ()), ("133", ()), ("x", ())],
)  # fmt: skip
def test_irish_prefixes(prefix: str, years: tuple[int, ...]) -> None:
    assert irish_years(prefix) == years


@pytest.mark.parametrize(
    ("mark", "years"),
    [
        ("AB51 CDE", (2001, 2002)), ("AB51CDE", (2001, 2002)), ("KX04 ABC", (2004,)), ("P123 ABC", (1996, 1997)),
        ("ABC 123V", (1979, 1980)), ("XIA 1234", ()), ("98-KY-2211", (1998,)), ("142-D-9", (2014,)),
        ("98-QQ-2211", None), ("AB01 CDE", None), ("HELLO", None), ("Q123 ABC", None), ("2.0 TD", None),
    ],
)  # fmt: skip
def test_marks(mark: str, years: tuple[int, ...] | None) -> None:
    assert mark_years(mark) == years


def test_bare_letter_prefers_the_newer_series() -> None:
    assert bare_letter_years("b") == (1984, 1985)
    assert bare_letter_years("V") == (1999, 2000)


def test_periods_follow_each_other_without_a_gap() -> None:
    rules = table()
    periods = [rules.suffix[letter] for letter in sorted(rules.suffix) if letter >= "E"]
    periods += [rules.prefix[letter] for letter in sorted(rules.prefix)]
    for (_, last), (first, _) in pairwise(periods):
        months = (int(first[:4]) - int(last[:4])) * 12 + int(first[5:]) - int(last[5:])
        assert months == 1
