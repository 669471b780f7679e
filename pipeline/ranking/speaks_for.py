"""What speaks for a vehicle: dear work that its advert tells is done, and essentials of which it tells good alone."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.itembeliefs import ItemBeliefs
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Claim, Prospect, Reason

GOOD, BAD = ("done", "absent"), ("present", "due", "possible")
MOST = 3


def speaks_for(prospect: Prospect, rules: DecisionRules) -> list[Reason]:
    """One reason that names at most three things with the words that tell them, or none: essentials, then dear work."""
    told: dict[str, str] = {}  # words -> what they tell
    for what, quote in (*_essentials(prospect, rules), *_work(prospect, rules)):
        told.setdefault(quote, what)
    some = list(told.items())[:MOST]
    named = ", ".join(what for _, what in some)
    return [Reason(f"told in its favour: {named}", "ranking.praise", " … ".join(q for q, _ in some))] if some else []


def _essentials(prospect: Prospect, rules: DecisionRules) -> Iterator[tuple[str, str]]:
    items = ItemBeliefs.of(prospect.repair.items)
    due = {key for key, admitted in zip(items.parts.ids, items.admitted.tolist(), strict=True) if admitted}
    for rule in rules.essentials.essentials:
        about = [claim for claim in prospect.evidence.claims if claim.subject in rule.subjects]
        good = _surest(claim for claim in about if claim.status in GOOD)
        if (
            rule.praise
            and good is not None
            and rule.item not in due
            and not any(claim.status in BAD for claim in about)
        ):
            yield rule.praise, good.quote


def _work(prospect: Prospect, rules: DecisionRules) -> Iterator[tuple[str, str]]:
    """Work told as done and not due again, by what its failure would have cost."""
    items = ItemBeliefs.of(prospect.repair.items)
    if not len(items):
        return
    dear = np.divide(items.expected, items.bad, out=np.zeros(len(items)), where=items.bad > 0)
    told: dict[str, Claim] = {}
    for claim in prospect.evidence.claims:
        if claim.status == "done" and claim.subject in rules.essentials.praised_work:
            told.setdefault(claim.subject, claim)
    bad = {claim.subject for claim in prospect.evidence.claims if claim.status in BAD}
    for n in np.argsort(-dear, kind="stable").tolist():
        subject = next((s for s in items.parts.subjects[n] if s in told and s not in bad), None)
        if subject is not None and not items.admitted[n]:
            yield f"{subject.replace('_', ' ')} done", told[subject].quote


def _surest(claims: Iterator[Claim]) -> Claim | None:
    return max(claims, key=lambda claim: claim.confidence, default=None)
