"""Keeps one claim for each subject and status: the more telling one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from operator import attrgetter

from pipeline.types import Claim

ORIGIN = "model.claim_status"  # the last of a claim's rules, where the model and no rule tells its status


def merge(claims: Iterable[Claim], telling: Mapping[str, int]) -> tuple[Claim, ...]:
    """One claim for each subject and status, in order of their place. A dated or graded one tells more.

    `telling`: rule id -> how much its words matter beside others that make the same claim, where not 0.
    """
    best: dict[tuple[str, str], Claim] = {}
    for claim in claims:
        key = (claim.subject, claim.status)
        known = best.get(key)
        if known is None or _worth(claim, telling) > _worth(known, telling):
            best[key] = claim
    return tuple(sorted(best.values(), key=attrgetter("start", "end", "subject")))


def _worth(claim: Claim, telling: Mapping[str, int]) -> tuple[float, int, int, bool, bool]:
    dated = (claim.at_year is not None) + (claim.at_mileage is not None)
    told = not claim.rule.endswith(ORIGIN)  # the words that say so, by the rules
    matters = telling.get(claim.rule.partition("+")[0], 0)
    return (round(claim.confidence, 1), matters, dated, told, claim.grade != "plain")
