"""The parts of knowledge: traits, hidden roots, faults, services, jobs, packs, and all of them together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from pipeline.rules import RuleId, RuleModel, Source
from pipeline.schemas.evidence import (
    SUM_TOLERANCE,
    Admission,
    Assumed,
    Candour,
    Chance,
    FactTable,
    Learning,
    ReportTable,
    RootReport,
    Speaks,
    Unproven,
)
from pipeline.schemas.region import Currency, Money, Positive, Region, TestArea
from pipeline.schemas.vehicle import Applies, Engine, Match, Named, Told, Variant
from pipeline.schemas.wear import Bad, Built, Cause, Feeds, Life, ThreePoint, Wear

__all__ = [
    "Access",
    "Applies",
    "Assembly",
    "Bad",
    "Built",
    "Cause",
    "Engine",
    "Fault",
    "Feeds",
    "Job",
    "Jobs",
    "Kind",
    "Knowledge",
    "Life",
    "Match",
    "PackFile",
    "Pay",
    "Place",
    "ReportFile",
    "Root",
    "Seen",
    "Service",
    "ThreePoint",
    "Told",
    "Variant",
    "Wear",
]

Group = Literal[
    "structure", "body", "engine", "cooling", "fuel", "drivetrain", "steering", "suspension", "brakes", "wheels",
    "exhaust", "electrics", "interior", "habitation", "service",
]  # fmt: skip


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
    again: Annotated[float, Field(gt=0, le=1)] = 1.0  # jobs after the first at one go take this share of their hours
    source: Source


class Assembly(RuleModel):
    """Faults inside one assembly: put right together they cost at most the `job` that replaces the whole."""

    id: RuleId
    name: str
    job: RuleId
    faults: Annotated[tuple[RuleId, ...], Field(min_length=1)]
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
    diy_unwise: str = ""  # why nobody should do it at home: then nothing is saved
    caution: str = ""  # what hurts whoever does it
    source: Source


class Kind(RuleModel):
    """Shared defaults of a kind of fault: any field of a fault, given where the fault itself does not.

    `table` stands for the report table of links that name none; `speaks_also` is added to the fault's own links,
    unless the fault says `only_own_subjects: true`.
    """

    id: RuleId
    defaults: Mapping[str, Any]
    source: Source


class PackFile(RuleModel):
    """One file of a pack. Entries of faults, services, jobs and the like are checked after packs are laid together."""

    about: str
    aliases: tuple[str, ...] = ()  # how adverts name the model that the pack is of
    variants: tuple[Variant, ...] = ()
    traits: Mapping[str, Chance] = Field(default_factory=dict)
    engines: tuple[Engine, ...] = ()
    told: tuple[Told, ...] = ()
    named: tuple[Named, ...] = ()
    roots: tuple[dict[str, Any], ...] = ()
    faults: tuple[dict[str, Any], ...] = ()
    services: tuple[dict[str, Any], ...] = ()
    access: tuple[dict[str, Any], ...] = ()
    assemblies: tuple[dict[str, Any], ...] = ()
    jobs: tuple[dict[str, Any], ...] = ()
    harmless: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    source: Source


class ReportFile(RuleModel):
    about: str
    tables: tuple[ReportTable, ...] = ()
    facts: tuple[FactTable, ...] = ()
    kinds: tuple[Kind, ...] = ()
    candour: tuple[Candour, ...] = ()
    rhythm: tuple[str, ...] = ()  # words of a quote that tell work done again and again: it is not due
    learning: Learning | None = None
    unproven: Unproven | None = None
    assumed: Assumed | None = None
    admission: Admission | None = None
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
    assemblies: Mapping[str, Assembly]
    tables: Mapping[str, ReportTable]
    fact_tables: Mapping[str, FactTable]
    candour: tuple[Candour, ...]
    rhythm: tuple[str, ...]
    learning: Learning
    unproven: Unproven
    assumed: Assumed
    admission: Admission
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
        """How many groups of numbers rest on each source, most first."""
        sections = (self.roots, self.faults, self.services, self.jobs, self.access, self.tables, self.fact_tables)
        found: list[str] = [entry.source for section in sections for entry in section.values()]
        found += [entry.source for entry in self.assemblies.values()] + [entry.source for entry in self.candour]
        found += [engine.source for engines in self.engines for engine in engines]
        for region in self.regions.values():
            found += [region.labour.source, region.travel.source, region.time_value.source, region.test.source]
            found.append(region.parts_factor_source)
        found += [self.money.rates_source, *(index.source for index in self.money.index)]
        found += [self.money.thrift.source, self.money.put_off.source, self.money.own_work.source, self.learning.source]
        found += [self.unproven.source, self.assumed.source, self.admission.source]
        found += [scarcity.source for scarcity in self.money.scarcity]
        return dict(Counter(found).most_common())
