"""What one vehicle's advert gives to reason from: traits, exposure, derived facts, claims by subject, renewals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from pipeline.schemas.evidence import Speaks
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.schemas.traits import vehicle_traits
from pipeline.types import MILES_PER_KM, Claim, Evidence

MIDDLING_MILES_A_YEAR = 7000.0  # used only where the advert gives no mileage; GB cars 7,134 (2017, test data)
MIDDLING_AGE = 25.0  # used only where the advert gives no year


@dataclass(frozen=True, slots=True)
class Renewal:
    """A part renewed: exposure since then, and the claim that says so; not `dated`: the rules' guess stands."""

    years: float
    miles: float
    claim: Claim
    dated: bool


@dataclass(frozen=True, slots=True)
class Signs:
    evidence: Evidence
    traits: Mapping[str, float]
    age: float
    miles: float
    year_built: int | None
    derived: Mapping[str, Any]  # the fact tables' inputs
    by_subject: Mapping[str, tuple[Claim, ...]]


def read_signs(evidence: Evidence, knowledge: Knowledge) -> Signs:
    """Completes an advert's evidence. A missing year or mileage is replaced by a middling one (an assumption)."""
    years = evidence.facts.get("year")
    built = round(sum(years) / len(years)) if years else None
    age = evidence.age_years if evidence.age_years is not None else MIDDLING_AGE
    miles = evidence.mileage_miles if evidence.mileage_miles is not None else age * MIDDLING_MILES_A_YEAR
    by_subject: dict[str, tuple[Claim, ...]] = {}
    for claim in evidence.claims:
        by_subject[claim.subject] = (*by_subject.get(claim.subject, ()), claim)
    admitted = {c.subject for c in evidence.claims if c.status in ("present", "due", "possible")}
    known = evidence.age_years is not None and evidence.mileage_miles is not None and age > 0
    derived: dict[str, Any] = {
        **evidence.facts,
        "test": test_outcome(evidence.facts, evidence.as_of),
        "miles_per_year": miles / max(age, 1.0) if known else None,
        "disclosures": len(admitted - set(knowledge.no_belief)),
        "text_words": evidence.text_words,
    }
    traits = vehicle_traits(knowledge, evidence.facts, evidence.claims)
    return Signs(evidence, traits, max(age, 0.0), max(miles, 0.0), built, derived, by_subject)


def test_outcome(facts: Mapping[str, Any], as_of: date) -> float | str | None:
    """Months of the periodic test left, else "valid" (no date), "expired", "none", "exempt", or None: not said."""
    state, expiry = facts.get("test_state"), facts.get("test_expiry")
    if state in ("none", "exempt", "expired"):
        return str(state)
    if expiry:
        year, month = (int(part) for part in str(expiry).split("-")[:2])
        left = (year - as_of.year) * 12 + month - as_of.month
        return float(left) if left >= 0 else "expired"
    return "valid" if state == "valid" else None


def renewal(signs: Signs, speaks: Sequence[Speaks], undated_years: float) -> tuple[Renewal, float] | None:
    """The newest renewal that the advert tells of, and the share of such words that is about this part."""
    found: list[tuple[Renewal, float]] = []
    a_year = signs.miles / max(signs.age, 1.0)
    for link in speaks:
        if not link.renews:
            continue
        for claim in signs.by_subject.get(link.subject, ()):
            if claim.status != "done":
                continue
            years = miles = None
            if claim.at_year is not None:
                years = max(signs.evidence.as_of.year + (signs.evidence.as_of.month - 6.5) / 12 - claim.at_year, 0.0)
            if claim.at_mileage is not None and signs.evidence.mileage_miles is not None:
                unit = MILES_PER_KM if signs.evidence.facts.get("mileage_unit") == "km" else 1.0
                miles = max(signs.miles - claim.at_mileage * unit, 0.0)
            dated = years is not None or miles is not None
            if years is None:
                years = miles / a_year if miles is not None and a_year > 0 else undated_years
            if miles is None:
                miles = years * a_year
            found.append(
                (Renewal(min(years, signs.age), min(miles, signs.miles), claim, dated), link.share_of(claim.quote))
            )
    return min(found, key=lambda item: (item[0].years, -item[1]), default=None)
