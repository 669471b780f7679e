"""What is believed of values before any advert is read: `rules/value/NAME.yaml`, one file a pack.

All effects are on the logarithm of the price of a sound vehicle: 0.05 is about five per cent. Files are laid over
each other in the order of the packs, `general` first; an entry with a known id replaces the earlier one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from pydantic import Field, model_validator

from pipeline.errors import RuleError
from pipeline.rules import RuleId, RuleModel, Source, read_rules

FUELS = ("diesel", "lpg", "hybrid", "electric")  # against petrol
HISTORIES = ("full", "none", "unstated")  # against part
EFFECTS: tuple[str, ...] = (
    *(f"fuel.{fuel}" for fuel in FUELS),
    *(f"history.{history}" for history in HISTORIES),
    "engine.log_litres",
    "gearbox.auto",
    "test.month",
    "test.none",
    "modified",
    "written_off",
    "owners.more",
    "seller.trade",
    "seller.auction",
    "trait.other",
)
NUMBERS: tuple[str, ...] = (
    "level.guide_sd",
    "level.vague_sd",
    "noise.sd",
    "noise.log_sd",
    "noise.vehicle_share",
    "noise.fall",
    "shape.sd",
    "shape.log_sd",
    "shape.years",
    "shape.miles",
    "shape.log_litres",
    "robust.degrees",
    "robust.outlier_sds",
    "discount.private",
    "discount.private.negotiable",
    "discount.private.fixed",
    "discount.trade",
    "discount.trade.negotiable",
    "discount.trade.fixed",
    "discount.auction",
    "auction.doubt_sd",
    "repair.share",
    "repair.unsaid",
    "repair.doubt_sd",
    "mileage.per_year",
    "mileage.log_sd",
    "mileage.most",
    "mileage.most_per_year",
    "mileage.least_per_year",
    "mileage.doubtful_per_year",
    "year.sd",
    "year.lone",
    "year.lone_among",
    "mileage.old_years",
    "price.slip_least",
    "flags.below_share",
    "flags.above_share",
)
TRAIT = "trait."


class Effect(RuleModel):
    """What one property changes: mean and standard deviation on log price. `words`: how adverts name a trait."""

    id: RuleId
    name: str
    mean: float = Field(ge=-3, le=3)
    sd: float = Field(gt=0, le=3)
    words: tuple[str, ...] = ()
    source: Source

    @model_validator(mode="after")
    def _known(self) -> Effect:
        if self.id not in EFFECTS and not self.id.startswith(TRAIT):
            raise ValueError(f"unknown effect {self.id!r}; known: {', '.join(EFFECTS)}, or trait.NAME of your own")
        if self.words and not self.id.startswith(TRAIT):
            raise ValueError("words belong to a trait")
        return self


class Knot(RuleModel):
    """Slope at one point of a curve."""

    at: float = Field(ge=0)
    mean: float
    sd: float = Field(gt=0)


class Curve(RuleModel):
    """Change of log price for each `per` units of x, at rising points `at` (in plain units)."""

    id: RuleId
    per: float = Field(gt=0)
    knots: tuple[Knot, ...] = Field(min_length=2)
    common_sd: float = Field(gt=0)
    source: Source

    @model_validator(mode="after")
    def _rising(self) -> Curve:
        if self.id not in ("age", "mileage"):
            raise ValueError("a curve is of 'age' (years) or 'mileage' (miles)")
        points = [knot.at for knot in self.knots]
        if any(b <= a for a, b in pairwise(points)):
            raise ValueError("the points `at` of a curve must rise")
        return self


class Number(RuleModel):
    id: RuleId
    value: float = Field(ge=0, allow_inf_nan=False)
    source: Source

    @model_validator(mode="after")
    def _known(self) -> Number:
        if self.id not in NUMBERS:
            raise ValueError(f"unknown number {self.id!r}; known: {', '.join(NUMBERS)}")
        return self


class ValueFile(RuleModel):
    """One file of `rules/value/`."""

    curves: tuple[Curve, ...] = ()
    effects: tuple[Effect, ...] = ()
    numbers: tuple[Number, ...] = ()


@dataclass(frozen=True, slots=True)
class ValuePriors:
    """The packs' value priors laid together."""

    curves: Mapping[str, Curve]
    effects: Mapping[str, Effect]
    numbers: Mapping[str, Number]

    def number(self, name: str) -> float:
        """A number by id. Raises KeyError for an id that no file gives."""
        return self.numbers[name].value

    def trait(self, name: str) -> Effect:
        """The effect of a trait, `trait.other` where no pack speaks of it."""
        return self.effects.get(TRAIT + name, self.effects["trait.other"])

    def traits_in(self, text: str) -> tuple[str, ...]:
        """Names of the traits whose words stand in a text, unless a 'no' or 'not' goes before them."""
        return tuple(
            effect.id.removeprefix(TRAIT)
            for effect in self.effects.values()
            if effect.words and re.search(_pattern(effect.words), text, re.IGNORECASE)
        )


def load_value_priors(names: Sequence[str], rules: Path, extra_folders: Sequence[Path] = ()) -> ValuePriors:
    """Priors of `general` and the named packs, later ones over earlier ones.

    A pack without a file of its own adds nothing. `extra_folders` are further folders of packs (the search folder's
    `packs/`); a `value/` beside each is looked in first, then `rules/value/`. Raises RuleError naming file and line,
    or naming what `general` leaves out.
    """
    files: list[ValueFile] = []
    for name in ("general", *(name for name in dict.fromkeys(names) if name != "general")):
        for folder in (*(packs.parent / "value" for packs in extra_folders), rules / "value"):
            path = folder / f"{name}.yaml"
            if path.is_file():
                files.append(read_rules(path, ValueFile, f"{folder.parent.name}/{folder.name}/{path.name}"))
                break
    priors = ValuePriors(
        curves={entry.id: entry for file in files for entry in file.curves},
        effects={entry.id: entry for file in files for entry in file.effects},
        numbers={entry.id: entry for file in files for entry in file.numbers},
    )
    wanted: tuple[tuple[Sequence[str], Mapping[str, object]], ...] = (
        (("age", "mileage"), priors.curves),
        (EFFECTS, priors.effects),
        (NUMBERS, priors.numbers),
    )
    missing = [name for names, known in wanted for name in names if name not in known]
    if missing:
        raise RuleError(
            f"no entry for {missing[0]!r}", where="rules/value/general.yaml", remedy="Add it with its source."
        )
    return priors


def _pattern(words: Sequence[str]) -> str:
    return r"(?<!\bno )(?<!\bnot )(?<!\bnot a )\b(?:" + "|".join(re.escape(word) for word in words) + r")\b"
