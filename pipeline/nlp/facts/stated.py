"""Values stated beside the text (page metadata, table columns) as facts: start and end are -1."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from pipeline.nlp.facts.engine import _tenth
from pipeline.nlp.facts.numbers import Number, digits_of, find_numbers
from pipeline.nlp.facts.phrases import phrase
from pipeline.nlp.facts.scene import countries
from pipeline.nlp.facts.values import value_rules
from pipeline.types import FACT_KEYS, Fact, StatedValue


def stated_facts(stated: Sequence[StatedValue]) -> list[Fact]:
    """Facts of the stated values that can be read, in order; others are left to the advert's own record."""
    units = [_unit(str(one.value)) for one in stated if one.key == "mileage_unit"]
    found: list[Fact] = []
    for one in stated:
        if not isinstance(one.value, str | int | float) or isinstance(one.value, bool):
            continue
        reader = _READERS.get(one.key)
        value = reader(one.value) if reader else None
        if value is None:
            continue
        found.append(_fact(one.key, value, one))
        extra = _carried(one)
        if extra and not (extra[0] == "mileage_unit" and any(units)):
            found.append(_fact(extra[0], extra[1], one))
    return [fact for fact in found if fact.key in FACT_KEYS]


def same_value(key: str, first: Any, second: Any) -> bool:
    """Whether two values of a fact agree: years overlap, sums and distances within half a percent."""
    if key == "year":
        return bool(set(first) & set(second))
    if key in ("asking_price", "mileage"):
        return bool(abs(first - second) <= 0.005 * max(abs(first), 1))
    if key == "engine_litres":
        return bool(abs(first - second) <= 0.051)
    return bool(first == second)


def _fact(key: str, value: Any, one: StatedValue) -> Fact:
    return Fact(key, value, str(one.value), -1, -1, f"stated.{key}", 0.9, one.origin)


def _numbers(value: Any) -> list[Number]:
    low = str(value).lower()
    return find_numbers(low, digits_of(low))


def _carried(one: StatedValue) -> tuple[str, str] | None:
    """What a value says beside itself: "£2,450" a currency, "118,000 km" a unit."""
    numbers = _numbers(one.value)
    if not numbers:
        return None
    if one.key == "asking_price" and numbers[0].money:
        currency = countries().currencies.get(numbers[0].money)
        return ("currency", currency) if currency else None
    if one.key == "mileage" and numbers[0].unit:
        return "mileage_unit", numbers[0].unit
    return None


def _number(value: Any) -> float | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return float(value) if value == value and abs(value) < 1e12 else None
    numbers = _numbers(value)
    return numbers[0].value if numbers else None


def _whole(least: float, most: float) -> Callable[[Any], int | float | None]:
    def read(value: Any) -> int | float | None:
        number = _number(value)
        if number is None or not least <= number <= most:
            return None
        return int(number) if number == int(number) else number

    return read


def _currency(value: Any) -> str | None:
    text = str(value).strip()
    if re.fullmatch(r"[A-Za-z]{3}", text):
        return text.upper()
    return countries().currencies.get(text.lower())


def _unit(value: Any) -> str | None:
    low = str(value).strip().lower()
    return "mi" if low.startswith(("mi", "smi")) else "km" if low.startswith(("km", "kil")) else None


def _year(value: Any) -> tuple[int, ...] | None:
    match = re.search(r"(?<!\d)(19|20)\d\d(?!\d)", str(value))
    return (int(match.group()),) if match else None


def _litres(value: Any) -> float | None:
    number = _number(value)
    if number is None:
        return None
    litres = number / 1000 if number >= 100 else number
    return _tenth(litres) if 0.3 <= litres < 15 else None


def _worded(part: str) -> Callable[[Any], str | None]:
    def read(value: Any) -> str | None:
        low = str(value).lower()[:200]
        hits = [
            (item.weight, str(item.value))
            for item in value_rules("stated").values
            if item.id.startswith(part) and any(phrase(text).pattern.search(low) for text in item.words)
        ]
        return max(hits)[1] if hits else None

    return read


def _plain(value: Any) -> str | None:
    text = re.sub(r"\s+", "", str(value)).upper()
    return text if 2 <= len(text) <= 20 else None


_READERS: dict[str, Callable[[Any], Any]] = {
    "asking_price": _whole(1, 1e9),
    "currency": _currency,
    "mileage": _whole(1, 3e6),
    "mileage_unit": _unit,
    "year": _year,
    "fuel": _worded("fuel."),
    "engine_litres": _litres,
    "gearbox": _worded("gearbox."),
    "owners": _whole(1, 50),
    "plate": _plain,
    "vin": _plain,
}
