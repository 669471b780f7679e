"""Regions and money: labour, travel, the periodic test, currencies, price indices, scarcity of parts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from pipeline.errors import RuleError
from pipeline.rules import RuleId, RuleModel, Source, read_rules

Positive = Annotated[float, Field(gt=0)]
Currency = Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
TestArea = Literal[
    "structure", "brakes", "steering", "suspension", "tyres", "lamps", "visibility", "emissions", "leaks", "seats"
]


class Rate(RuleModel):
    """Money an hour (or a mile, a kilometre): low, usual, high, in the region's currency at `year`."""

    low: Positive
    usual: Positive
    high: Positive
    year: int
    source: Source

    @model_validator(mode="after")
    def _ordered(self) -> Rate:
        if not self.low <= self.usual <= self.high:
            raise ValueError("low, usual and high are not in order")
        return self


class Amount(RuleModel):
    value: Positive
    year: int
    source: Source


class Test(RuleModel):
    """The periodic roadworthiness test. `areas` are what it looks at; empty where there is none."""

    name: str
    first_years: float | None
    every_months: float | None
    exempt_years: float | None = None
    areas: tuple[TestArea, ...]
    fee: float = 0.0
    notes: tuple[str, ...] = ()
    source: Source


class Region(RuleModel):
    id: RuleId
    name: str
    countries: tuple[str, ...]
    currency: Currency
    units: Literal["mi", "km"]
    labour: Rate
    travel: Amount  # a mile or a kilometre, as `units` says
    time_value: Amount  # the buyer's own hour
    parts_factor: Positive  # parts here against the same parts in the pack's region, after exchange
    parts_factor_source: Source
    price_year: int
    test: Test
    cautions: tuple[str, ...]
    words: Mapping[str, str] = Field(default_factory=dict)  # the program's word -> the word said here
    words_source: Source

    @property
    def travel_per_mile(self) -> float:
        """Travel cost a mile, region's currency."""
        return self.travel.value * (1.609344 if self.units == "km" else 1.0)


class Index(RuleModel):
    """Price level of garage work and parts by year in one currency; only ratios matter."""

    currency: Currency
    years: Mapping[int, Positive]
    source: Source


class Scarcity(RuleModel):
    id: RuleId
    name: str
    parts_times: Positive  # on the price of parts
    source: Source


class Thrift(RuleModel):
    """What owners of cheap vehicles leave or have done cheaply.

    Below `full_value` (money's base, what a sound vehicle of the kind fetches) work costs the share
    (value / full_value) ** `power` of its price, at least `least`: used parts, small garages, half-measures; minor
    faults are paid for that much more seldom too.
    """

    full_value: Positive
    power: Annotated[float, Field(ge=0)]
    least: Annotated[float, Field(gt=0, le=1)]
    source: Source

    def share(self, value: float | None) -> float:
        """Share of the full price; 1 where the value is not known."""
        if value is None:
            return 1.0
        return min(1.0, max(self.least, float((value / self.full_value) ** self.power)))


class PutOff(RuleModel):
    """What becomes of a big bill: beyond `share_of_value` of what a sound vehicle of the kind fetches (`full_value` of
    the thrift rule where that is not known) work costs only the share `beyond` of its price.
    """

    share_of_value: Positive
    beyond: Annotated[float, Field(gt=0, le=1)]
    source: Source


class Doubt(RuleModel):
    """By what factor a number may be out either way, by the kind of its source: to see which ones matter."""

    judgement: Annotated[float, Field(gt=1)]
    other: Annotated[float, Field(gt=1)]
    source: Source


class OwnWork(RuleModel):
    """Share of the work fit for home that a buyer who does their own work really does; a garage has the rest."""

    share: Annotated[float, Field(ge=0, le=1)]
    source: Source


class Money(RuleModel):
    """`rates`: units of `base` for one unit of the currency."""

    base: Currency
    as_of: str
    rates: Mapping[str, Positive]
    rates_source: Source
    index: tuple[Index, ...]
    scarcity: tuple[Scarcity, ...]
    thrift: Thrift
    put_off: PutOff
    doubt: Doubt
    own_work: OwnWork

    @field_validator("rates")
    @classmethod
    def _codes(cls, rates: Mapping[str, float]) -> Mapping[str, float]:
        wrong = [code for code in rates if not (len(code) == 3 and code.isupper())]
        if wrong:
            raise ValueError(f"{wrong[0]!r} is not a currency code of three capitals")
        return rates

    def exchange(self, amount: float, from_currency: str, to_currency: str) -> float:
        """An amount of one currency in another. Raises KeyError for a currency without a rate."""
        rates = {self.base: 1.0, **self.rates}
        return amount * rates[from_currency] / rates[to_currency]

    def level(self, currency: str, from_year: int, to_year: int) -> float:
        """How much dearer the same work is in `to_year`: nearest years that the index has; 1.0 without an index."""
        years = next((index.years for index in self.index if index.currency == currency), None)
        if not years:
            return 1.0

        def at(year: int) -> float:
            return years[min(years, key=lambda known: abs(known - year))]

        return at(to_year) / at(from_year)

    def scarcity_times(self, scarcity: str) -> float:
        """Factor on the price of parts. Raises KeyError for an unknown class."""
        return {item.id: item.parts_times for item in self.scarcity}[scarcity]


def load_regions(rules: Path) -> dict[str, Region]:
    """`regions/*.yaml` of a rules folder: id -> region. Raises RuleError naming file and line."""
    found: dict[str, Region] = {}
    for path in sorted((rules / "regions").glob("*.yaml")):
        label = f"rules/regions/{path.name}"
        region = read_rules(path, Region, label)
        if region.id != path.stem:
            raise RuleError(f"id is {region.id!r}", where=f"{label}:1", remedy=f"Call it {path.stem!r}.")
        found[region.id] = region
    return found


def load_money(rules: Path) -> Money:
    """`money/money.yaml` of a rules folder. Raises RuleError naming file and line."""
    return read_rules(rules / "money" / "money.yaml", Money, "rules/money/money.yaml")
