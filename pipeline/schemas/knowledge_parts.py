"""The parts of knowledge: traits, hidden roots, faults, services, jobs, packs, and all of them together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from pipeline.rules import RuleId, RuleModel, Source
from pipeline.schemas.evidence import SUM_TOLERANCE, Chance, FactTable, ReportTable, RootReport, Speaks
from pipeline.schemas.region import Currency, Money, Positive, Region, TestArea
from pipeline.types import STATUSES

State = Literal["sound", "minor", "major"]
Bad = Literal["minor", "major"]
Means = Literal["telephone", "walk_round", "underneath", "road_test"]
Group = Literal[
    "structure", "body", "engine", "cooling", "fuel", "drivetrain", "steering", "suspension", "brakes", "wheels",
    "exhaust", "electrics", "interior", "habitation", "service",
]  # fmt: skip


class ThreePoint(RuleModel):
    """Least, most likely, most: hours or money."""

    low: Annotated[float, Field(ge=0)]
    mode: Annotated[float, Field(ge=0)]
    high: Annotated[float, Field(ge=0)]

    @model_validator(mode="before")
    @classmethod
    def _from_list(cls, value: Any) -> Any:
        if isinstance(value, (list, tuple)) and len(value) == 3:
            return dict(zip(("low", "mode", "high"), value, strict=True))
        return value

    @model_validator(mode="after")
    def _ordered(self) -> ThreePoint:
        if not self.low <= self.mode <= self.high:
            raise ValueError("the three points are not in order")
        return self

    @property
    def mean(self) -> float:
        """Mean of the beta-PERT distribution, (a + 4m + b) / 6 (Malcolm et al. 1959)."""
        return (self.low + 4 * self.mode + self.high) / 6


# ---- what a vehicle is ------------------------------------------------------


class Applies(RuleModel):
    """Traits that the vehicle must have (`all`), of which it must have one (`any`), and must not have (`none`)."""

    all: tuple[str, ...] = ()
    any: tuple[str, ...] = ()
    none: tuple[str, ...] = ()

    def chance(self, traits: Mapping[str, float]) -> float:
        """Probability that it applies, traits (name -> probability, missing: 0) taken as independent."""
        result = 1.0
        for trait in self.all:
            result *= traits.get(trait, 0.0)
        for trait in self.none:
            result *= 1.0 - traits.get(trait, 0.0)
        if self.any:
            missed = 1.0
            for trait in self.any:
                missed *= 1.0 - traits.get(trait, 0.0)
            result *= 1.0 - missed
        return result


class Match(RuleModel):
    """Facts that an engine goes with; a fact that the advert does not state excludes nothing."""

    fuel: tuple[str, ...] = ()
    gearbox: tuple[str, ...] = ()
    litres: tuple[float, float] | None = None
    years: tuple[int, int] | None = None


class Engine(RuleModel):
    """An engine (or kind of engine). `share`: how common it is among those that fit the same facts."""

    id: RuleId
    name: str
    when: Match
    share: Positive = 1.0
    traits: Mapping[str, Chance]
    source: Source


class Told(RuleModel):
    """A claim of `subject` (with one of `words` in its quote, if any are given) shows that the vehicle has a trait."""

    subject: RuleId
    trait: str
    words: tuple[str, ...] = ()
    statuses: tuple[str, ...] = STATUSES


# ---- roots, faults, services --------------------------------------------------


class Root(RuleModel):
    id: RuleId
    name: str
    prior: Mapping[str, Chance]
    facts: tuple[RuleId, ...] = ()  # fact tables
    claims: tuple[RootReport, ...] = ()
    source: Source

    @model_validator(mode="after")
    def _sums(self) -> Root:
        if abs(sum(self.prior.values()) - 1) > SUM_TOLERANCE:
            raise ValueError(f"prior sums to {sum(self.prior.values()):.6g}, not 1")
        return self


class Life(RuleModel):
    """Weibull life: scale (63.2 % have gone by then) and shape. `cap`: exposure counts at most so far, because a part
    that old has usually been mended once."""

    life: Positive
    shape: Positive
    cap: Positive | None = None

    def exposure(self, since: float) -> float:
        """What counts of the years or miles since new or renewed."""
        return min(max(since, 0.0), self.cap or float("inf"))


class Built(RuleModel):
    """Vehicles built in these years: how many times as fast they wear (better steel, a mended design)."""

    years: tuple[int, int]
    pace: Annotated[float, Field(ge=0)]


class Wear(RuleModel):
    """Chance that work is needed now or within the year.

    `minor` comes at the Weibull life in years or in miles, whichever is first; `major` at `major_ratio` times that
    life. `leak`: chances of minor and major whatever age and miles.
    """

    years: Life | None = None
    miles: Life | None = None
    major_ratio: Annotated[float, Field(ge=1)]
    leak: tuple[Chance, Chance] = (0.0, 0.0)
    built: tuple[Built, ...] = ()

    def pace(self, year_built: int | None) -> float:
        """Factor on the exposure by year of building."""
        result = 1.0
        for built in self.built:
            if year_built is not None and built.years[0] <= year_built <= built.years[1]:
                result *= built.pace
        return result


class Cause(RuleModel):
    """A parent fault in state `when` alone brings about minor or major with these chances (noisy-MAX)."""

    fault: RuleId
    when: Bad
    minor: Chance
    major: Chance

    @model_validator(mode="after")
    def _at_most_one(self) -> Cause:
        if self.minor + self.major > 1:
            raise ValueError("minor and major together exceed 1")
        return self


class Feeds(RuleModel):
    """Neglect of a service alone brings about a fault with these chances (noisy-MAX)."""

    fault: RuleId
    minor: Chance
    major: Chance


class Seen(RuleModel):
    """Chance that each means shows the fault where it is there."""

    telephone: Chance = 0.0
    walk_round: Chance = 0.0
    underneath: Chance = 0.0
    road_test: Chance = 0.0

    @property
    def on_viewing(self) -> float:
        """Chance that a viewing with all means on the spot shows it."""
        return 1 - (1 - self.walk_round) * (1 - self.underneath) * (1 - self.road_test)


class Pay(RuleModel):
    """Chance that the buyer has it done in the first year, by state; `purposes` gives other chances by purpose."""

    minor: Chance
    major: Chance
    purposes: Mapping[Literal["original", "working", "everyday", "project"], Mapping[Bad, Chance]] = Field(
        default_factory=dict
    )

    def chance(self, state: Bad, purpose: str) -> float:
        """Chance for a state and a buyer's purpose."""
        own = next((row for name, row in self.purposes.items() if name == purpose), {})
        return own.get(state, self.major if state == "major" else self.minor)


class Jobs(RuleModel):
    """Jobs that put a state right; for `major` they replace those of `minor`."""

    minor: Annotated[tuple[RuleId, ...], Field(min_length=1)]
    major: Annotated[tuple[RuleId, ...], Field(min_length=1)]


class Fault(RuleModel):
    id: RuleId
    name: str
    group: Group
    kind: RuleId  # where its shared defaults come from (rules/reports/kinds.yaml)
    applies: Applies = Field(default_factory=Applies)
    wear: Wear
    roots: Mapping[str, Mapping[str, Positive]] = Field(default_factory=dict)  # state -> pace of wear
    causes: tuple[Cause, ...] = ()
    speaks: Annotated[tuple[Speaks, ...], Field(min_length=1)]
    trust: Mapping[str, Chance]  # care -> chance that a renewal the advert tells of was done, and properly
    undated_years: Positive = 4.0  # how long ago a renewal without a date is taken to be
    seen: Seen
    test_area: TestArea | None = None
    fails_test: Literal["never", "major", "any"] = "never"
    jobs: Jobs
    pay: Pay
    normal: str = ""
    look: str
    ask: str = ""
    caution: str = ""
    source: Source


class Service(RuleModel):
    """Scheduled work. `overdue`: care -> chance that it is due at purchase or within the year, nothing being proven."""

    id: RuleId
    name: str
    applies: Applies = Field(default_factory=Applies)
    miles: Positive | None = None
    years: Positive | None = None
    job: RuleId
    overdue: Mapping[str, Chance]
    pay: Chance = 1.0  # chance that a buyer has it done in the first year when it is overdue
    trust: Mapping[str, Chance]
    undated_years: Positive = 2.0
    feeds: tuple[Feeds, ...] = ()
    speaks: tuple[Speaks, ...]
    look: str = ""
    ask: str = ""
    caution: str = ""
    source: Source

    @model_validator(mode="after")
    def _has_interval(self) -> Service:
        if self.miles is None and self.years is None:
            raise ValueError("give an interval in miles, years or both")
        return self


class Access(RuleModel):
    """Dismantling that several jobs share; its hours are paid once."""

    id: RuleId
    name: str
    hours: ThreePoint
    source: Source


class Job(RuleModel):
    """Work that puts something right. Parts in `currency` at the prices of `price_year`, tax paid."""

    id: RuleId
    name: str
    access: tuple[RuleId, ...] = ()
    hours: ThreePoint
    parts: ThreePoint
    currency: Currency
    price_year: int
    scarcity: RuleId = "common"
    diy_share: Chance  # share of the labour that a buyer saves who does their own work
    diy_unwise: str = ""  # why nobody should do it at home
    source: Source


class Kind(RuleModel):
    """Shared defaults of a kind of fault: any field of a fault, given where the fault itself does not.

    `table` stands for the report table of links that name none; `speaks_also` is added to the fault's own links,
    unless the fault says `only_own_subjects: true`.
    """

    id: RuleId
    defaults: Mapping[str, Any]
    source: Source


class Rate(RuleModel):
    """What sound vehicles fetch (not ask), by trim and build years."""

    name: str
    trim: str
    engines: tuple[str, ...] = ()
    years: tuple[int, int]
    low: Positive
    high: Positive


class GoingRates(RuleModel):
    currency: Currency
    month: str
    miles: Positive  # mileage they stand for
    per_10000_miles: Chance  # share of the value, either way
    asking_over_selling: Chance
    rows: tuple[Rate, ...]
    adjust: Mapping[str, str] = Field(default_factory=dict)
    source: Source


class Variant(RuleModel):
    """A spelling, trim or series by which adverts name the vehicle."""

    id: RuleId
    name: str
    words: tuple[str, ...]
    years: tuple[int, int] | None = None
    traits: Mapping[str, Chance] = Field(default_factory=dict)


class PackFile(RuleModel):
    """One file of a pack. Entries of faults, services, jobs and the like are checked after packs are laid together."""

    about: str
    make: str | None = None
    model: str | None = None
    aliases: tuple[str, ...] = ()
    variants: tuple[Variant, ...] = ()
    traits: Mapping[str, Chance] = Field(default_factory=dict)
    engines: tuple[Engine, ...] = ()
    told: tuple[Told, ...] = ()
    roots: tuple[dict[str, Any], ...] = ()
    faults: tuple[dict[str, Any], ...] = ()
    services: tuple[dict[str, Any], ...] = ()
    access: tuple[dict[str, Any], ...] = ()
    jobs: tuple[dict[str, Any], ...] = ()
    harmless: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    going_rates: GoingRates | None = None
    source: Source


class ReportFile(RuleModel):
    about: str
    tables: tuple[ReportTable, ...] = ()
    facts: tuple[FactTable, ...] = ()
    kinds: tuple[Kind, ...] = ()
    no_belief: Mapping[str, str] = Field(default_factory=dict)  # subject -> why it bears on no fault: flag, ...


@dataclass(frozen=True, slots=True)
class Place:
    """Where an entry was last written: for error messages."""

    label: str
    path: Path
    location: tuple[str | int, ...]


@dataclass(frozen=True)
class Knowledge:
    """Packs laid together, checked. Mappings are in the order of the files."""

    packs: tuple[str, ...]
    roots: Mapping[str, Root]
    faults: Mapping[str, Fault]
    services: Mapping[str, Service]
    jobs: Mapping[str, Job]
    access: Mapping[str, Access]
    tables: Mapping[str, ReportTable]
    fact_tables: Mapping[str, FactTable]
    engines: tuple[tuple[Engine, ...], ...]  # most particular pack first
    traits: Mapping[str, float]
    told: tuple[Told, ...]
    no_belief: Mapping[str, str]
    regions: Mapping[str, Region]
    money: Money
    files: tuple[PackFile, ...]
    places: Mapping[tuple[str, str], Place] = field(repr=False)  # (section, id) -> where it was written

    def parts(self, job: Job, region: Region) -> ThreePoint:
        """Price of a job's parts in the region's currency and price year, scarcity counted."""
        times = self.money.level(job.currency, job.price_year, region.price_year)
        times *= self.money.exchange(1.0, job.currency, region.currency) * region.parts_factor
        times *= self.money.scarcity_times(job.scarcity)
        return ThreePoint(low=job.parts.low * times, mode=job.parts.mode * times, high=job.parts.high * times)

    def sources(self) -> dict[str, int]:
        """How many entries rest on each source."""
        counts: dict[str, int] = {}
        for section in (self.roots, self.faults, self.services, self.jobs, self.access, self.tables, self.fact_tables):
            for entry in section.values():
                counts[entry.source] = counts.get(entry.source, 0) + 1
        return counts
