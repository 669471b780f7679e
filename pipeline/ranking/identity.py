"""Does what the advert says of the vehicle's identity agree with itself? Each check only ever raises a question."""

from __future__ import annotations

import re

from pipeline.schemas.decision import IdentityRules
from pipeline.schemas.registration import Registration
from pipeline.types import MILES_PER_KM, Evidence

_AGE = re.compile(r"[A-Z]{2}(\d{2})[A-Z]{3}")
_PREFIX = re.compile(r"([A-Y])\d{1,3}[A-Z]{3}")
_SUFFIX = re.compile(r"[A-Z]{3}\d{1,3}([A-Y])")


def identity_checks(evidence: Evidence, registration: Registration, rules: IdentityRules) -> dict[str, str]:
    """Check id -> what does not agree, in words."""
    found: dict[str, str] = {}
    facts = evidence.facts
    years = [int(year) for year in facts.get("year") or ()]
    plate = re.sub(r"[^A-Z0-9]", "", str(facts.get("plate") or "").upper())
    issued = plate_years(plate, registration)
    if issued and years:
        if issued[0] > max(years) + rules.years_apart:
            found["plate_newer"] = f"the plate {plate} was first issued in {issued[0]}, the advert says {max(years)}"
        elif issued[-1] < min(years) - rules.years_apart:
            found["plate_older"] = f"the plate {plate} is of {issued[-1]}, the advert says {min(years)}"
    vin = re.sub(r"[\s-]", "", str(facts.get("vin") or "").upper())
    if vin and years and min(years) > rules.long_vin_after and (len(vin) != 17 or re.search(r"[IOQ]", vin)):
        found["vin_shape"] = f"the chassis number {vin} does not have the form of one of {min(years)}"
    found |= _work(evidence, years, rules)
    return found


def _work(evidence: Evidence, years: list[int], rules: IdentityRules) -> dict[str, str]:
    found: dict[str, str] = {}
    unit = MILES_PER_KM if evidence.facts.get("mileage_unit") == "km" else 1.0
    for claim in evidence.claims:
        if claim.status != "done":
            continue
        if claim.at_mileage is not None and evidence.mileage_miles is not None:
            at = claim.at_mileage * unit
            if at > evidence.mileage_miles * rules.miles_apart:
                found["work_after_mileage"] = (
                    f"work is told of at {claim.at_mileage:,} and the clock shows {evidence.mileage_miles / unit:,.0f}"
                )
        if claim.at_year is not None and years and claim.at_year < min(years) - rules.years_apart:
            found["work_before_year"] = f"work is told of in {claim.at_year}, before the year it was built"
    return found


def plate_years(plate: str, registration: Registration) -> tuple[int, ...]:
    """First and last year in which a British mark without spaces was first issued; () when it carries no age."""
    if match := _AGE.fullmatch(plate):
        code, rules = int(match[1]), registration.age_code
        year = 2000 + (code - rules.autumn_offset if code > rules.autumn_offset else code)
        autumn = code > rules.autumn_offset
        first = f"{year}-{rules.autumn_month if autumn else rules.spring_month:02d}"
        return (year, year + 1 if autumn else year) if first >= registration.age_code.first else ()
    for pattern, table in ((_PREFIX, registration.prefix), (_SUFFIX, registration.suffix)):
        if (match := pattern.fullmatch(plate)) and match[1] in table:
            first, last = table[match[1]]
            return int(first[:4]), int(last[:4])
    return ()
