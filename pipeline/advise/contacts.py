"""Leaves sellers' telephone numbers, e-mail addresses and plates out of what members are given, and members' names.

What is left out is replaced by as many dots, so that the places of evidence in a text stay where they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import date
from typing import Any, TypeVar

from pipeline.types import Reading, RepairEstimate, VehicleView

T = TypeVar("T")

DOT = "•"
_EMAIL = re.compile(
    r"[\w.+-]+\s?(?:@|\(at\)|\[at\])\s?[\w-]+(?:\s?(?:\.|\(dot\)|\[dot\])\s?[a-z]{2,}){1,3}", re.IGNORECASE
)
# A run of at least nine digits with the usual separators: shorter runs are prices, mileages and years.
_TELEPHONE = re.compile(
    r"(?<![\w£$€.,-])(?:(?:\+\s?|\(?0)(?:[\s().\-/]{0,3}\d){8,14}|\(?\d{3}\)?[\s.-]{1,2}\d{3}[\s.-]\d{4})(?!\w)"
)
_SPELT = re.compile(
    r"\b(?:(?:oh|zero|nought|one|two|three|four|five|six|seven|eight|nine|double|treble)[\s,\-]+){7,}"
    r"(?:oh|zero|nought|one|two|three|four|five|six|seven|eight|nine)\b",
    re.IGNORECASE,
)
# British forms since 1963 and the Irish one (see rules/regions); other regions' plates are left out as the facts give.
_PLATE = re.compile(
    r"\b(?:[A-Z]{2}\d{2}\s?[A-Z]{3}|[A-Z]\d{1,3}\s?[A-Z]{3}|[A-Z]{3}\s?\d{1,3}[A-Z]|\d{2,3}-?[A-Z]{1,2}-?\d{3,6})\b"
)
SECRET_FACTS = ("plate", "vin")


def without_contacts(vehicle: VehicleView) -> VehicleView:
    """The vehicle without what would lead to its seller other than by the advert's own address."""
    facts = [f for text in vehicle.texts for f in (*text.reading.facts, *text.reading.rivals)]
    secrets = [str(f.value) for f in facts if f.key in SECRET_FACTS] + [f.quote for f in facts if f.key in SECRET_FACTS]
    secrets += [str(vehicle.prospect.evidence.facts.get(key) or "") for key in SECRET_FACTS]
    bare = masked(vehicle, secrets, contacts=True)
    texts = tuple(replace(text, reading=_without_facts(text.reading)) for text in bare.texts)
    known = {k: v for k, v in bare.prospect.evidence.facts.items() if k not in SECRET_FACTS}
    evidence = replace(bare.prospect.evidence, facts=known)
    return replace(bare, texts=texts, prospect=replace(bare.prospect, evidence=evidence))


def masked(value: T, words: Iterable[str], *, contacts: bool = False) -> T:
    """A frozen value with these words, and contacts if asked, dotted out in every string that it holds."""
    exact = [_spaced(word) for word in dict.fromkeys(words) if len(word.strip()) >= 4]
    patterns = [re.compile(rf"(?<!\w)(?:{'|'.join(exact)})(?!\w)", re.IGNORECASE)] if exact else []
    if contacts:
        patterns += [_EMAIL, _TELEPHONE, _SPELT, _PLATE]
    return _walk(value, patterns)  # type: ignore[no-any-return]


def _walk(value: Any, patterns: list[re.Pattern[str]]) -> Any:
    if isinstance(value, str):
        for pattern in patterns:
            value = pattern.sub(lambda found: re.sub(r"\S", DOT, found[0]), value)
        return value
    if isinstance(value, RepairEstimate):
        return replace(
            value,
            items=_walk(value.items, patterns),
            contradictions=_walk(value.contradictions, patterns),
            assumptions=_walk(value.assumptions, patterns),
        )
    if isinstance(value, date):
        return value
    if is_dataclass(value) and not isinstance(value, type):
        changed = {}
        for field in fields(value):
            old = getattr(value, field.name)
            new = _walk(old, patterns)
            if new is not old:
                changed[field.name] = new
        return replace(value, **changed) if changed else value
    if isinstance(value, Mapping):
        return {key: _walk(one, patterns) for key, one in value.items()}
    if isinstance(value, (tuple, list)):
        new_items = [_walk(one, patterns) for one in value]
        if all(new is old for new, old in zip(new_items, value, strict=True)):
            return value
        return type(value)(new_items)
    return value


def _spaced(word: str) -> str:
    """A pattern for a word however it is spaced: plates and numbers are written with and without."""
    return r"[\s\-]?".join(re.escape(c) for c in word if not c.isspace() and c != "-")


def _without_facts(reading: Reading) -> Reading:
    return replace(
        reading,
        facts=tuple(f for f in reading.facts if f.key not in SECRET_FACTS),
        rivals=tuple(f for f in reading.rivals if f.key not in SECRET_FACTS),
    )
