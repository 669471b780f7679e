"""Words by which facts are read: cues around a number, phrases that state a value, words of a country.

Phrases stand in one text with commas between. They are written plainly: `word`, `stem*`, `(one|other)`,
`[may be left out]`, `{n}` for a number or number word.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from pipeline.rules import RuleId, RuleModel, Source, read_rules


def _split(words: object) -> object:
    return tuple(word.strip() for word in words.split(",")) if isinstance(words, str) else words


def _closed(phrase: str) -> str:
    if phrase.count("{n}") > 1:
        raise ValueError(f"the phrase {phrase!r} has more than one {{n}}; its number would be in doubt")
    if any(phrase.count(begin) != phrase.count(end) for begin, end in ("()", "[]", "{}")):
        raise ValueError(f"the phrase {phrase!r} opens a bracket that it does not close, or the other way round")
    return phrase


Phrase = Annotated[str, Field(min_length=1), AfterValidator(_closed)]
Phrases = Annotated[tuple[Phrase, ...], BeforeValidator(_split)]


class Cue(RuleModel):
    """Words near a number that speak for or against a reading of it.

    `near`: `touch` next to it, `listed` next to it but for a comma or colon, `beyond` though a sentence ends between,
    `phrase` in the
    same comma-free stretch, `clause` in the same sentence.
    """

    id: RuleId
    side: Literal["before", "after"]
    near: Literal["touch", "listed", "beyond", "phrase", "clause"]
    weight: float
    words: Phrases


class CueRules(RuleModel):
    """Weights are added up; a candidate needs `least` to count."""

    source: Source
    least: float
    weights: Mapping[RuleId, float]  # features worked out in code, by name
    cues: tuple[Cue, ...]


class Value(RuleModel):
    """Phrases that state one value of a fact. With `{n}` the number is the value."""

    id: RuleId
    value: str | float
    weight: float
    words: Phrases


class ValueRules(RuleModel):
    source: Source
    values: tuple[Value, ...]
    lists: Mapping[RuleId, Phrases] = Field(default_factory=dict)  # words that a reader asks for by name


class Country(RuleModel):
    """What gives a country's adverts away, and what `$`, a bare price and a bare odometer reading mean there."""

    id: RuleId
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    dollar: bool = False
    unit: Literal["mi", "km"]
    month_first: bool = False
    thousands_point: bool = False
    prior: float = 0.0
    other_unit: float = -0.5  # points where distances are in the other unit
    words: Mapping[float, Phrases]  # weight -> words, any case
    capitals: Phrases = ()  # words that count only as written (codes of states)


class Countries(RuleModel):
    source: Source
    countries: tuple[Country, ...]
    currencies: Mapping[str, str]  # sign, code or word -> ISO 4217 code; "$" is left to the vote


class TestWords(RuleModel):
    """Names of the periodic test by how surely they mean it, and what is said of it."""

    source: Source
    names: Mapping[RuleId, Phrases]  # sure, likely (needs a state beside it)
    link: Phrases  # little words between a name and its date
    not_names: Phrases  # look like a name and mean something else
    months: Mapping[Annotated[int, Field(ge=1, le=12)], Phrases]
    states: tuple[Cue, ...]  # id up to the first point is the state: none.no, expired.ran-out, ...
    spans: Mapping[str, int]  # name of a test -> months that a fresh one runs
    span_source: Source


def load_cues(rules: Path, name: str) -> CueRules:
    """`facts/NAME.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "facts" / f"{name}.yaml", CueRules, f"rules/facts/{name}.yaml")


def load_values(rules: Path, name: str) -> ValueRules:
    """`facts/NAME.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "facts" / f"{name}.yaml", ValueRules, f"rules/facts/{name}.yaml")


def load_countries(rules: Path) -> Countries:
    """`facts/countries.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "facts" / "countries.yaml", Countries, "rules/facts/countries.yaml")


def load_test_words(rules: Path) -> TestWords:
    """`facts/roadtest.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "facts" / "roadtest.yaml", TestWords, "rules/facts/roadtest.yaml")
