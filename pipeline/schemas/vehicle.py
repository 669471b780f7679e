"""What a vehicle is: traits, the engines and variants that imply them, and the words that tell them."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from pipeline.rules import RuleId, RuleModel, Source
from pipeline.schemas.evidence import Chance
from pipeline.schemas.region import Positive
from pipeline.types import STATUSES


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


class Named(RuleModel):
    """Words of an advert that show a trait where nothing is claimed of it: "chain cam, so no belt to fret about"."""

    trait: str
    words: tuple[str, ...]


class Variant(RuleModel):
    """A trim or series by which adverts name the vehicle. A reader that finds it says so in the fact `variants`;
    with `by_years` the year of building alone tells it."""

    id: RuleId
    name: str
    words: tuple[str, ...]
    years: tuple[int, int] | None = None
    by_years: bool = False
    traits: Mapping[str, Chance] = Field(default_factory=dict)
