"""buyer.toml: one buyer's needs and terms, checked and completed from the region's defaults."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipeline.errors import BuyerError
from pipeline.types import FACT_KEYS, MILES_PER_KM, Buyer, Member, Purpose


@dataclass(frozen=True, slots=True)
class RegionDefaults:
    """What a region gives where the buyer says nothing. Money in `currency`; labour and time by the hour."""

    currency: str
    labour_rate: float
    travel_cost_per_mile: float
    time_value_per_hour: float
    units: Literal["mi", "km"] = "mi"


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _BuyerSection(_Section):
    home: str = Field(min_length=1)
    purpose: Purpose = "everyday"
    budget_total: float | None = Field(default=None, gt=0)
    budget_is_hard: bool = False
    currency: str | None = Field(default=None, pattern=r"^[A-Z]{3}$")
    region: str = "uk"
    does_own_work: bool = False
    labour_rate: float | None = Field(default=None, ge=0)
    travel_cost_per_mile: float | None = Field(default=None, ge=0)
    travel_cost_per_km: float | None = Field(default=None, ge=0)
    time_value_per_hour: float | None = Field(default=None, ge=0)
    guide_price: float | None = Field(default=None, gt=0)
    outside_option: float | None = None
    risk: Literal["mean", "worst_quarter"] = "mean"
    packs: tuple[str, ...] = ("general",)
    rates: dict[str, float] = Field(default_factory=dict)

    @field_validator("packs")
    @classmethod
    def _general_first(cls, packs: tuple[str, ...]) -> tuple[str, ...]:
        return ("general", *(pack for pack in packs if pack != "general"))


class _AsOf(_Section):
    date: date


class _MemberSection(_Section):
    name: str = ""
    note: str = ""
    adviser_note: str = ""


class _BuyerFile(_Section):
    buyer: _BuyerSection
    member: _MemberSection = _MemberSection()
    must: dict[str, tuple[str | int | float, ...]] = Field(default_factory=dict)
    as_of: _AsOf | None = None

    @field_validator("must")
    @classmethod
    def _known_facts(cls, must: dict[str, Any]) -> dict[str, Any]:
        unknown = sorted(set(must) - set(FACT_KEYS))
        if unknown:
            raise ValueError(f"unknown fact {unknown[0]!r}; known are {', '.join(FACT_KEYS)}")
        return must


def read_region(path: Path) -> str:
    """The region that a buyer.toml names ("uk" when it names none), so that its defaults can be looked up first."""
    return _read(path).buyer.region


def read_buyer(path: Path, defaults: RegionDefaults) -> Buyer:
    """A buyer.toml, completed. Raises BuyerError naming file, line and remedy."""
    return _completed(path, _read(path), defaults)


def read_member(path: Path, pool: Buyer, defaults: Mapping[str, RegionDefaults]) -> tuple[Member, Buyer]:
    """A member's file: a buyer.toml with a section [member]. Raises BuyerError naming file, line and remedy.

    Region, currency, packs and guide price are the pool's where the file gives none; the day is always the pool's.
    """
    file = _read(path)
    given = file.buyer.model_fields_set
    theirs: dict[str, Any] = {"region": file.buyer.region if "region" in given else pool.region}
    if theirs["region"] not in defaults:
        raise BuyerError(
            f"region: unknown region {theirs['region']!r}",
            where=f"{path.name}:{_line(path, 'region')}",
            remedy=f"Known: {', '.join(defaults)}.",
        )
    if file.as_of is not None:
        raise BuyerError(
            "as_of: the day is the pool's",
            where=f"{path.name}:{_line(path, 'as_of')}",
            remedy="Leave it out here; it stands in the pool's buyer.toml.",
        )
    if "packs" not in given:
        theirs["packs"] = pool.packs
    if "rates" not in given:
        theirs["rates"] = dict(pool.rates)
    if theirs["region"] == pool.region and "currency" not in given:
        theirs["currency"] = pool.currency
        if "guide_price" not in given:
            theirs["guide_price"] = pool.guide_price
    completed = file.model_copy(update={"buyer": file.buyer.model_copy(update=theirs)})
    name = file.member.name or path.stem.replace("-", " ").replace("_", " ").title()
    buyer = replace(_completed(path, completed, defaults[theirs["region"]]), as_of=pool.as_of, search_name=name)
    return Member(path.stem, name, file.member.note, file.member.adviser_note), buyer


def _completed(path: Path, file: _BuyerFile, defaults: RegionDefaults) -> Buyer:
    b = file.buyer
    per_mile = b.travel_cost_per_mile
    if per_mile is None and b.travel_cost_per_km is not None:
        per_mile = b.travel_cost_per_km / MILES_PER_KM
    currency = b.currency or defaults.currency
    if currency != defaults.currency and b.labour_rate is None:
        raise BuyerError(
            f"prices are in {currency}, the region {b.region!r} reckons in {defaults.currency}",
            where=f"{path.name}:{_line(path, 'currency')}",
            remedy=f"Give labour_rate, travel_cost_per_mile and time_value_per_hour in {currency}.",
        )
    return Buyer(
        home=b.home,
        purpose=b.purpose,
        currency=currency,
        region=b.region,
        labour_rate=defaults.labour_rate if b.labour_rate is None else b.labour_rate,
        travel_cost_per_mile=defaults.travel_cost_per_mile if per_mile is None else per_mile,
        time_value_per_hour=defaults.time_value_per_hour if b.time_value_per_hour is None else b.time_value_per_hour,
        does_own_work=b.does_own_work,
        budget_total=b.budget_total,
        guide_price=b.guide_price,
        outside_option=b.outside_option,
        packs=b.packs,
        must=dict(file.must),
        as_of=file.as_of.date if file.as_of else None,
        search_name=path.resolve().parent.name,
        budget_is_hard=b.budget_is_hard,
        risk=b.risk,
        units=defaults.units,
        rates=b.rates,
    )


def _read(path: Path) -> _BuyerFile:
    try:
        data: Mapping[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise BuyerError(
            "there is no buyer.toml here", where=str(path.parent), remedy="Run 'viewworthy start DIR' to make one."
        ) from error
    except UnicodeDecodeError as error:
        raise BuyerError("is not UTF-8 text", where=path.name, remedy="Save it as UTF-8.") from error
    except OSError as error:
        raise BuyerError(f"cannot be read ({error.strerror})", where=path.name) from error
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"at line (\d+)", str(error))
        raise BuyerError(
            f"is not valid TOML: {str(error).split(' (at')[0]}", where=f"{path.name}:{line[1] if line else 1}"
        ) from error
    try:
        return _BuyerFile.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        key = next((str(part) for part in reversed(first["loc"]) if isinstance(part, str)), "buyer")
        what = "unknown key" if first["type"] == "extra_forbidden" else first["msg"].removeprefix("Value error, ")
        if first["type"] == "missing":
            what = "is needed"
        known = sorted(_BuyerSection.model_fields) if first["type"] == "extra_forbidden" else []
        raise BuyerError(
            f"{key}: {what}",
            where=f"{path.name}:{_line(path, key)}",
            remedy=f"Known keys are {', '.join(known)}." if known else None,
        ) from error


def _line(path: Path, key: str) -> int:
    """The line where a key or a section stands, 1 when it is not there."""
    pattern = re.compile(rf"\s*(?:{re.escape(key)}\s*=|\[{re.escape(key)}\])")
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if pattern.match(line):
            return number
    return 1
