"""Money, distances, dates, facts and claims in words. Figures that are estimates are rounded, stated ones are not."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any, Literal

from pipeline.types import MILES_PER_KM, Claim, Fact, Spread

SIGNS = {"GBP": "£", "EUR": "€", "USD": "$", "AUD": "A$", "CAD": "C$", "NZD": "NZ$"}
MINUS = "−"
_CODED = re.compile(rf"([-{MINUS}])?\b({'|'.join(SIGNS)}) (?=\d)")
ESTIMATE_STEP = 10  # estimates are rounded to tens: a single pound would pretend to a knowledge that nobody has

STATUS_WORDS = {
    "present": "there now",
    "absent": "said not to be",
    "done": "done already",
    "due": "needs doing",
    "possible": "perhaps",
}
FACT_WORDS = {
    "asking_price": "asking price",
    "price_terms": "terms",
    "mileage_unit": "mileage unit",
    "engine_litres": "engine",
    "test_state": "roadworthiness test",
    "test_expiry": "test runs out",
    "service_history": "service history",
    "vin": "VIN",
}


def money(amount: float, currency: str) -> str:
    """A stated amount: `£4,250`, `£4,250.50`, `−£300`, `CHF 900`."""
    sign = MINUS if amount < 0 and round(amount, 2) else ""
    unit = SIGNS.get(currency, f"{currency} ")
    digits = f"{abs(amount):,.0f}" if abs(amount - round(amount)) < 0.005 else f"{abs(amount):,.2f}"
    return f"{sign}{unit}{digits}"


def estimate(amount: float, currency: str) -> str:
    """An estimated amount, rounded to tens."""
    return money(float(round(amount / ESTIMATE_STEP) * ESTIMATE_STEP), currency)


def between(spread: Spread, currency: str) -> str:
    """The 10 % and 90 % points: `£400 to £2,100`."""
    return f"{estimate(spread.p10, currency)} to {estimate(spread.p90, currency)}"


def percent(chance: float) -> str:
    """A probability without a false 0 or 100: `<1 %`, `37 %`, `>99 %`."""
    if 0 < chance < 0.005:
        return "<1 %"
    if 0.995 < chance < 1:
        return ">99 %"
    return f"{chance:.0%}".replace("%", " %")


def distance(miles: float, units: Literal["mi", "km"] = "mi") -> str:
    """A distance, whole miles or kilometres: `128 mi`, `206 km`."""
    return f"{miles if units == 'mi' else miles / MILES_PER_KM:,.0f} {units}"


def sentence(text: str) -> str:
    """A stage's words as a sentence: a capital at its start, and the currency's sign for its code before a number."""
    text = _CODED.sub(lambda m: (m[1] or "") + SIGNS[m[2]], text)
    return text[:1].upper() + text[1:]


def day(when: date) -> str:
    """`31 October 2026`."""
    return f"{when.day} {when:%B %Y}"


def spoken(code: str) -> str:
    """A code as words: `rust_general` -> `rust general`."""
    return code.replace("_", " ")


def subject(code: str, names: Mapping[str, str]) -> str:
    """A subject's name, or its code in words."""
    return names.get(code) or spoken(code)


def fact_name(key: str) -> str:
    """A fact's name as a reader knows it."""
    return FACT_WORDS.get(key) or spoken(key)


def fact_value(key: str, value: Any) -> str:
    """A fact's value as a reader knows it."""
    if key == "year" and isinstance(value, (list, tuple)):
        return " or ".join(str(year) for year in value)
    if key in {"mileage", "asking_price"} and isinstance(value, (int, float)):
        return f"{value:,.0f}" if float(value).is_integer() else f"{value:,.2f}"
    if key == "engine_litres":
        return f"{value} l"
    return str(value)


def claim_note(claim: Claim, names: Mapping[str, str]) -> str:
    """One line on a claim: subject, status, grade, when, how sure, rule."""
    name = subject(claim.subject, names)
    parts = [f"{name}: {STATUS_WORDS[claim.status]}", f"grade {claim.grade}"]
    if claim.detail:
        parts.append(claim.detail)
    if when := claim_when(claim):
        parts.append(when)
    return "; ".join([*parts, *_sure(claim.confidence), f"rule {claim.rule}"])


def claim_when(claim: Claim) -> str:
    """`at 96,000 in 2021`, or nothing."""
    mileage = f"at {claim.at_mileage:,}" if claim.at_mileage is not None else ""
    year = f"in {claim.at_year}" if claim.at_year is not None else ""
    return f"{mileage} {year}".strip()


def fact_note(fact: Fact) -> str:
    """One line on a fact: name, value, how sure, rule."""
    head = f"{fact_name(fact.key)}: {fact_value(fact.key, fact.value)}"
    return "; ".join([head, *_sure(fact.confidence), f"rule {fact.rule}"])


def _sure(confidence: float) -> list[str]:
    return [f"about {percent(confidence)} sure"] if confidence < 1 else []
