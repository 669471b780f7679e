"""Red flags: what no price offsets until it is verified."""

from __future__ import annotations

import re

from pipeline.schemas.decision import Condition, DecisionRules
from pipeline.types import Claim, Flag, Prospect


def red_flags(prospect: Prospect, rules: DecisionRules) -> tuple[Flag, ...]:
    """Flags that stand for a vehicle, disqualifying ones first."""
    claims = prospect.evidence.claims
    told = {c.subject for c in claims if c.status in ("present", "due")}
    found: list[Flag] = []
    for rule in rules.flags.flags:
        claim = next((c for condition in rule.when for c in claims if _meets(c, condition)), None)
        valued = next((f for f in rule.valuation_flags if f in prospect.valuation.flags), None)
        if claim is None and valued is None:
            continue
        if rule.unless_words and any(_has(c.quote, rule.unless_words) for c in claims if c.subject in LIFTING):
            continue
        if rule.unless_admitted is not None and len(told) >= rule.unless_admitted:
            continue
        quote = claim.quote if claim else ""
        found.append(Flag(rule.id, rule.text, rule.verify, rule.disqualifies, quote, rule.id))
    codes = {flag.code for flag in found}
    for group in rules.flags.together:
        if len(codes & set(group.flags)) >= group.least:
            found.append(Flag(group.id, group.text, group.verify, True, "", group.id))
    if any(f.code == "writeoff_structural" for f in found):
        found = [f for f in found if f.code != "writeoff"]
    return tuple(sorted(found, key=lambda flag: not flag.disqualifies))


LIFTING = ("writeoff", "accident", "chassis", "welding", "doors_panels")  # whose words can prove a repair


def _meets(claim: Claim, condition: Condition) -> bool:
    if claim.subject != condition.subject or claim.status not in condition.statuses:
        return False
    if condition.words and not _has(claim.quote, condition.words):
        return False
    return not (condition.not_words and _has(claim.quote, condition.not_words))


def _has(quote: str, words: tuple[str, ...]) -> bool:
    plain = " " + re.sub(r"[^a-z0-9]+", " ", quote.lower()) + " "
    return any(f" {word} " in plain for word in words)
