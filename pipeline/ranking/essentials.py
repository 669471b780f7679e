"""What an advert must have told before a journey on its word alone is anything but blind."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.itembeliefs import ItemBeliefs
from pipeline.schemas.decision import DecisionRules, EssentialRule
from pipeline.types import Buyer, Prospect, Question


@dataclass(frozen=True, slots=True)
class Essentials:
    """`open`: ids of the essentials left unsaid; `share`: of what all of them together leave in doubt."""

    open: tuple[str, ...]
    share: float
    questions: tuple[Question, ...]


def essentials(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> Essentials:
    """Which essentials the advert leaves open, weighted by how likely each needs work."""
    rows = [rule for rule in rules.essentials.essentials if buyer.region not in rule.not_regions]
    weights = {rule.id: _weight(rule, prospect) for rule in rows}
    unsaid = [rule for rule in rows if weights[rule.id] > 0 and not _told(rule, prospect)]
    total = sum(weights.values())
    share = sum(weights[rule.id] for rule in unsaid) / total if total > 0 else 0.0
    least = rules.essentials.least_weight
    counted = [rule for rule in unsaid if weights[rule.id] >= least * rule.weight]
    asks = tuple(Question(rule.ask, rule.subjects, 0.0, f"essential.{rule.id}") for rule in counted)
    return Essentials(tuple(rule.id for rule in counted), share, asks)


def _weight(rule: EssentialRule, prospect: Prospect) -> float:
    """The rule's weight; where it hangs on one item (a belt), times the chance that the item needs work."""
    if rule.item is None:
        return rule.weight
    items = ItemBeliefs.of(prospect.repair.items)
    if rule.item not in items.parts.ids:
        return 0.0
    return rule.weight * float(items.bad[items.parts.ids.index(rule.item)])


def _told(rule: EssentialRule, prospect: Prospect) -> bool:
    evidence = prospect.evidence
    if any(evidence.facts.get(key) for key in rule.facts):
        return True
    # "I believe it was done" names the subject and leaves it open.
    if any(claim.subject in rule.subjects and claim.status != "possible" for claim in evidence.claims):
        return True
    if any(key in (rule.item, *rule.subjects) for key in evidence.findings):
        return True
    return rule.done_claims is not None and sum(c.status == "done" for c in evidence.claims) >= rule.done_claims
