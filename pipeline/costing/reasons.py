"""Why a belief stands where it stands, in short sentences with the words that moved it."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.costing.reports import ADMITS, Weight
from pipeline.costing.signs import Renewal, Signs, belt_on_a_chain
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.schemas.region import Region
from pipeline.types import ADVERT_ORIGINS, Buyer, Reason

TELLING = 0.35  # natural logarithm of the likelihood ratio from which words are worth naming
MOST = 4


def item_reasons(
    item: Fault | Service, signs: Signs, weights: Sequence[Weight], renewed: Renewal | None, bad: float
) -> tuple[Reason, ...]:
    """The strongest reasons first: what the advert says, then renewals, then age and miles, then silence."""
    found = []
    for weight in sorted(weights, key=lambda w: -abs(w.log_ratio)):
        claim = weight.claim
        if claim is None or abs(weight.log_ratio) < TELLING:
            continue
        way = "speaks for it" if weight.log_ratio > 0 else "speaks against it"
        found.append(Reason(f"the advert {way}", weight.table, claim.quote))
    if renewed is not None:
        when = f"about {renewed.years:.0f} years ago" if renewed.dated else "at a time that it does not give"
        found.insert(0, Reason(f"the advert says it was done {when}", item.id, renewed.claim.quote))
    for weight in weights:
        if weight.table == "test_result" and weight.claim is None and abs(weight.log_ratio) >= TELLING:
            way = (
                "a short, expired or untold test leaves it open" if weight.log_ratio > 0 else "a long test bears on it"
            )
            found.append(Reason(way, weight.table))
    if not found and bad >= 0.05:
        age = f"{signs.age:.0f} years" if signs.evidence.age_years is not None else "age not given"
        miles = f"{signs.miles:,.0f} miles" if signs.evidence.mileage_miles is not None else "mileage not given"
        found.append(Reason(f"the advert is silent; this is usual at {age} and {miles}", item.id))
    return tuple(found[:MOST])


def assumptions(signs: Signs, knowledge: Knowledge, buyer: Buyer, region: Region) -> tuple[Reason, ...]:
    """What was taken for granted for this vehicle."""
    found = []
    if signs.evidence.age_years is None:
        found.append(Reason(f"no year is given: an age of {signs.age:.0f} years was taken", "costing.age"))
    if signs.evidence.mileage_miles is None:
        found.append(Reason(f"no mileage is given: {signs.miles:,.0f} miles were taken", "costing.miles"))
    unsure = [name for name in ("belt", "chain", "diesel", "auto") if 0.1 < signs.traits.get(name, 0.0) < 0.9]
    if unsure:
        found.append(Reason(f"the advert leaves open: {', '.join(unsure)}; both were weighed", "costing.traits"))
    if signs.evidence.facts.get("model_named") is False:
        found.append(
            Reason("the advert does not name the model that the pack is of; the pack was used all the same", "packs")
        )
    return tuple(found)


def home_cautions(dear: Sequence[Fault | Service], knowledge: Knowledge) -> tuple[Reason, ...]:
    """For a buyer who works on it: what hurts, and what should not be done at home, a sentence a job of these items."""
    keys = dict.fromkeys(
        job
        for item in dear
        for job in ((*item.jobs.minor, *item.jobs.major) if isinstance(item, Fault) else (item.job,))
    )
    jobs = [knowledge.jobs[key] for key in keys]
    said: dict[str, list[str]] = {}
    for job in jobs:
        if words := job.diy_unwise or job.caution:
            said.setdefault(words, []).append(job.name)
    return tuple(Reason(f"{'; '.join(names)}: {words}", "costing.cautions") for words, names in said.items())


def contradictions(signs: Signs) -> tuple[str, ...]:
    """Where the advert says opposite things of one subject, or tells of a part that this engine does not have."""
    found = []
    for subject, claims in signs.by_subject.items():
        own = [c for c in claims if c.origin in ADVERT_ORIGINS]
        denied = next((c for c in own if c.status == "absent"), None)
        admitted = next((c for c in own if c.status in ADMITS), None)
        if denied and admitted:
            found.append(f"{subject}: “{denied.quote}”, yet “{admitted.quote}”")
    belts = (c for c in signs.evidence.claims if belt_on_a_chain(c, signs.traits))
    found += [f"timing_belt: “{claim.quote}”, yet this engine has a chain" for claim in belts]
    return tuple(found)
