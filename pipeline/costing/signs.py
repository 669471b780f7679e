"""What one vehicle's advert gives to reason from: traits, exposure, derived facts, claims by subject, renewals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.schemas.evidence import Speaks
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.schemas.traits import vehicle_traits
from pipeline.types import MILES_PER_KM, Claim, Evidence

HARDLY = 0.5  # words with less than so much of the best words' share are hardly about a part


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
    silence_power: float = 1.0  # how much silence tells in this advert (evidence.Candour)
    least_power: float = 1.0  # the same where nothing were admitted
    rhythm: tuple[str, ...] = ()  # words that tell work done again and again
    proof: float = 1.0  # how much denials and work done count (evidence.Unproven)


@dataclass(frozen=True, slots=True)
class Fleet:
    """Several vehicles at once. `age`, `miles`: (vehicles,); `done`: subject -> who tells of work on it."""

    signs: tuple[Signs, ...]
    age: NDArray[np.float64]
    miles: NDArray[np.float64]
    done: Mapping[str, tuple[int, ...]]

    def some(self, vehicles: Sequence[int]) -> Fleet:
        """Some of them, in the order asked for."""
        place = {v: n for n, v in enumerate(vehicles)}
        done = {subject: tuple(place[v] for v in who if v in place) for subject, who in self.done.items()}
        at = list(vehicles)
        return Fleet(tuple(self.signs[v] for v in at), self.age[at], self.miles[at], done)


def read_fleet(evidence: Sequence[Evidence], knowledge: Knowledge) -> Fleet:
    """Completes the evidence of several adverts, each on its own."""
    spoken = frozenset(link.subject for fault in knowledge.faults.values() for link in fault.speaks)
    signs = tuple(_read_signs(one, knowledge, spoken) for one in evidence)
    done: dict[str, list[int]] = {}
    for v, one in enumerate(signs):
        for subject, claims in one.by_subject.items():
            if any(claim.status == "done" for claim in claims):
                done.setdefault(subject, []).append(v)
    return Fleet(
        signs,
        np.array([one.age for one in signs]),
        np.array([one.miles for one in signs]),
        {subject: tuple(vehicles) for subject, vehicles in done.items()},
    )


def _read_signs(evidence: Evidence, knowledge: Knowledge, spoken: frozenset[str]) -> Signs:
    """Completes an advert's evidence. A missing year or mileage is replaced by a middling one (an assumption)."""
    years = evidence.facts.get("year")
    built = round(sum(years) / len(years)) if years else None
    age = evidence.age_years if evidence.age_years is not None else knowledge.assumed.age
    miles = evidence.mileage_miles if evidence.mileage_miles is not None else age * knowledge.assumed.miles_a_year
    traits = vehicle_traits(knowledge, evidence.facts, evidence.claims)
    by_subject: dict[str, tuple[Claim, ...]] = {}
    for claim in evidence.claims:
        if not belt_on_a_chain(claim, traits):
            by_subject[claim.subject] = (*by_subject.get(claim.subject, ()), claim)
    admitted = {c.subject for c in evidence.claims if c.status in ("present", "due", "possible")} & spoken
    known = evidence.age_years is not None and evidence.mileage_miles is not None and age > 0
    derived: dict[str, Any] = {
        **evidence.facts,
        "test": test_outcome(evidence.facts, evidence.as_of),
        "miles_per_year": miles / max(age, 1.0) if known else None,
        "disclosures": len(admitted),
        "text_words": evidence.text_words,
    }
    return Signs(
        evidence=evidence,
        traits=traits,
        age=max(age, 0.0),
        miles=max(miles, 0.0),
        year_built=built,
        derived=derived,
        by_subject=by_subject,
        silence_power=_silence_power(knowledge, len(admitted), evidence.text_words),
        least_power=_silence_power(knowledge, 0, evidence.text_words),
        rhythm=knowledge.rhythm,
        proof=_proof(knowledge, by_subject),
    )


def belt_on_a_chain(claim: Claim, traits: Mapping[str, float]) -> bool:
    """Whether a claim tells of a belt that this engine does not have: then it proves nothing."""
    quote = claim.quote.lower()
    told = claim.subject == "timing_belt" and claim.status != "absent" and "belt" in quote and "chain" not in quote
    return told and traits.get("chain", 0.0) >= 0.9


def _silence_power(knowledge: Knowledge, disclosures: int, text_words: int) -> float:
    return next((kind.power for kind in knowledge.candour if kind.fits(disclosures, text_words)), 1.0)


def _proof(knowledge: Knowledge, by_subject: Mapping[str, Sequence[Claim]]) -> float:
    """As far as it is sure that the seller shows it to nobody; an invitation in the same advert clears them."""
    unproven, sure = knowledge.unproven, 0.0
    for subject in unproven.subjects:
        claims = by_subject.get(subject, ())
        if not any(claim.status == "absent" for claim in claims):
            sure = max([sure, *(claim.confidence for claim in claims if claim.status == "present")])
    return 1 - sure * (1 - unproven.power)


def test_outcome(facts: Mapping[str, Any], as_of: date) -> float | str | None:
    """Months of the periodic test left, less than nought since it ran out; without a date "valid", "expired", "none",
    "exempt", or None: not said."""
    state, expiry = facts.get("test_state"), facts.get("test_expiry")
    if state in ("none", "exempt"):
        return str(state)
    if expiry:
        year, month = (int(part) for part in str(expiry).split("-")[:2])
        return float((year - as_of.year) * 12 + month - as_of.month)
    return str(state) if state in ("valid", "expired") else None


def renewal(signs: Signs, speaks: Sequence[Speaks], undated_years: float) -> tuple[Renewal, float] | None:
    """The newest renewal that the advert tells of, and the share of such words that is about this part.

    Words that are hardly about this part (a heater serviced) do not hide those that are (a canvas replaced).
    """
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
            if not dated and any(word in claim.quote.lower() for word in signs.rhythm):
                years = miles = 0.0  # done again and again: the last time is never long ago
            if years is None:
                years = miles / a_year if miles is not None and a_year > 0 else undated_years
            if miles is None:
                miles = years * a_year
            found.append(
                (Renewal(min(years, signs.age), min(miles, signs.miles), claim, dated), link.share_of(claim.quote))
            )
    about = max((share for _, share in found), default=0.0) * HARDLY
    newest = min((one for one in found if one[1] >= about), key=lambda item: (item[0].years, -item[1]), default=None)
    return None if newest is None else (newest[0], newest[1] * signs.proof)
