"""buyer.toml as a form: what each key means, what is there, and the file with what was changed, comments kept."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import tomlkit
from tomlkit.exceptions import TOMLKitError

from pipeline.errors import BuyerError, UsageError
from pipeline.notes.words import CHOICES
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge, pack_names
from pipeline.schemas.region import load_regions
from pipeline.search import open_search

Kind = Literal["text", "number", "choice", "yes_no", "several", "list"]
NAME = "buyer.toml"


@dataclass(frozen=True, slots=True)
class Field:
    """One key: what it is called, what it means, how it is entered. `section`: buyer or must."""

    key: str
    name: str
    about: str
    kind: Kind
    choices: tuple[str, ...] = ()
    section: Literal["buyer", "must"] = "buyer"
    value: str = ""
    values: tuple[str, ...] = ()


PURPOSES = ("original", "working", "everyday", "project")


def _fields(folder: Path) -> tuple[Field, ...]:
    rules = data_folder("rules")
    packs = pack_names(rules, [folder / "packs"] if (folder / "packs").is_dir() else [])
    regions = tuple(load_regions(rules))
    empty = "Empty: the region's usual value."
    return (
        Field("home", "Home", 'Where journeys start: a place name, or "54.97, -2.10".', "text"),
        Field("region", "Region", "Test, units, currency, labour and travel rates.", "choice", regions),
        Field(
            "purpose",
            "What it is for",
            "What a fault is worth to you: faded paint is nothing on a working vehicle and much on an original one.",
            "choice",
            PURPOSES,
        ),
        Field("packs", "Kinds of vehicle", "Which faults, intervals and prices are reckoned with.", "several", packs),
        Field("budget_total", "Budget", "Price and the first year's repairs together.", "number"),
        Field(
            "budget_is_hard", "The budget is the end of it", "Yes: whatever is likely to cost more is left.", "yes_no"
        ),
        Field(
            "guide_price",
            "Guide price",
            "What a sound one of middling age and mileage fetches. It carries the values while you have few adverts.",
            "number",
        ),
        Field("does_own_work", "I do my own work", "Yes: you save most of the labour where it is safe.", "yes_no"),
        Field("labour_rate", "Labour, an hour", f"At the garage that you would use. {empty}", "number"),
        Field("travel_cost_per_mile", "Travel, a mile", f"Fuel and wear. {empty}", "number"),
        Field("travel_cost_per_km", "or travel, a kilometre", "Give one of the two.", "number"),
        Field("time_value_per_hour", "Your time, an hour", f"What an hour of your day is worth. {empty}", "number"),
        Field("currency", "Currency", f"Three letters. {empty}", "text"),
        Field(
            "risk",
            "How careful",
            "mean: by the average of what may come. worst_quarter: by the worst quarter of it.",
            "choice",
            ("mean", "worst_quarter"),
        ),
        Field(
            "outside_option",
            "What you have without any of these",
            "Surplus of what else you could buy, usually below nought. Empty: reckoned from the adverts.",
            "number",
        ),
        *(
            Field(key, name, "An advert that states otherwise is left; a silent one gets a question.", "list",
                  CHOICES[key], "must")
            for key, name in (("fuel", "Fuel must be"), ("gearbox", "Gearbox must be"))
        ),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class BuyerForm:
    """The form as it stands; `version` is the file's own."""

    fields: tuple[Field, ...]
    version: str
    other: tuple[str, ...]  # keys of the file that have no field: they stay as they are


def form(folder: Path) -> BuyerForm:
    """The form filled from the file. Raises BuyerError when the file cannot be read."""
    data = (folder / NAME).read_bytes()
    document = _parsed(data)
    known = _fields(folder)
    filled = tuple(_filled(field, document) for field in known)
    keys = {field.key for field in known}
    other = [f"{s}.{key}" for s in ("buyer", "must", "as_of") for key in document.get(s, {}) if key not in keys]
    return BuyerForm(filled, version_of(data), tuple(other))


def given_form(folder: Path, values: Mapping[str, Sequence[str]], version: str) -> BuyerForm:
    """The form with what a person had entered, for when it could not be saved."""
    filled = tuple(_replaced(field, list(values.get(field.key, ()))) for field in _fields(folder))
    return BuyerForm(filled, version, ())


def version_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def changed(folder: Path, values: Mapping[str, Sequence[str]]) -> str:
    """The file's text with what the form says, comments and other keys kept.

    Raises UsageError or BuyerError naming what is wrong; the file itself is not touched.
    """
    document = _parsed((folder / NAME).read_bytes())
    for field in _fields(folder):
        section = document.setdefault(field.section, tomlkit.table())
        value = _value(field, [value.strip() for value in values.get(field.key, ()) if value.strip()])
        if value is None:
            section.pop(field.key, None)
        elif field.key not in section or section[field.key] != value:
            section[field.key] = value
    text: str = tomlkit.dumps(document)
    _check(folder, text)
    return text


def _check(folder: Path, text: str) -> None:
    """Opens a copy as a search would, and loads its packs."""
    with tempfile.TemporaryDirectory() as temporary:
        copy = Path(temporary) / NAME
        copy.write_text(text, encoding="utf-8")
        buyer = open_search(Path(temporary)).buyer
    extra = [folder / "packs"] if (folder / "packs").is_dir() else []
    load_knowledge(buyer.packs, data_folder("rules"), extra)


def _parsed(data: bytes) -> Any:
    try:
        return tomlkit.parse(data.decode("utf-8"))
    except (UnicodeDecodeError, TOMLKitError) as error:
        raise BuyerError(
            f"cannot be read ({str(error).splitlines()[0]})", where=NAME, remedy="Mend it in a text editor."
        ) from error


def _filled(field: Field, document: Any) -> Field:
    value = document.get(field.section, {}).get(field.key)
    if value is None:
        return _replaced(field, ["general"] if field.key == "packs" else [])
    if isinstance(value, bool):
        return _replaced(field, ["yes" if value else "no"])
    if isinstance(value, list):
        return _replaced(field, [str(one) for one in value])
    return _replaced(field, [f"{value:g}" if isinstance(value, (int, float)) else str(value)])


def _replaced(field: Field, values: list[str]) -> Field:
    return Field(
        field.key, field.name, field.about, field.kind, field.choices, field.section, next(iter(values), ""),
        tuple(values),
    )  # fmt: skip


def _value(field: Field, given: list[str]) -> Any:
    """What goes into the file, None for nothing."""
    if field.kind in ("several", "list"):
        wrong = [one for one in given if one not in field.choices]
        if wrong:
            raise UsageError(f"{field.name}: {wrong[0]!r} is not known", remedy=f"Known: {', '.join(field.choices)}.")
        return given or None
    if not given:
        return None
    words = given[0]
    if field.kind == "yes_no":
        return words == "yes"
    if field.kind == "number":
        try:
            number = float(words.replace(",", "").lstrip("£$€ "))
        except ValueError:
            raise UsageError(
                f"{field.name}: {words!r} is no number", remedy="Give digits, or leave it empty."
            ) from None
        if number != number or abs(number) > 1e9:
            raise UsageError(f"{field.name}: {words!r} is no sum that can be meant")
        return int(number) if number.is_integer() else number
    if field.kind == "choice" and words not in field.choices:
        raise UsageError(f"{field.name}: {words!r} is not known", remedy=f"Known: {', '.join(field.choices)}.")
    return words
