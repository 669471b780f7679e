"""Red flags: what no price offsets until it is verified, and what only needs asking."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.ranking.identity import identity_checks
from pipeline.schemas.decision import Condition, DecisionRules, FlagRule, FlagRules
from pipeline.types import Buyer, Claim, Evidence, Flag, Prospect


def red_flags(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> tuple[Flag, ...]:
    """Flags that stand for a vehicle and this buyer, disqualifying ones first."""
    return flags_of(prospect.evidence, prospect.valuation.flags, buyer, rules)


def flags_of(
    evidence: Evidence, valuation_flags: Sequence[str], buyer: Buyer, rules: DecisionRules
) -> tuple[Flag, ...]:
    """As `red_flags`, by what is known of a vehicle and what its valuation found odd."""
    claims = evidence.claims
    heard = [c for c in claims if c.confidence >= rules.flags.heard]
    told = {c.subject for c in heard if c.status in ("present", "due")} - set(rules.flags.no_faults)
    checks = identity_checks(evidence, rules.registration, rules.flags.identity)
    checks |= dict(evidence.doubts)
    lifting = rules.flags.repair_words_in
    found: list[Flag] = []
    for rule in rules.flags.flags:
        raised = _raised(rule, evidence, valuation_flags, heard, checks)
        if raised is None or buyer.purpose in rule.not_purposes:
            continue
        if rule.unless_words and any(_has(c.quote, rule.unless_words) for c in claims if c.subject in lifting):
            continue
        if any(_offered(passage, rule.unless_after, rules.flags) for passage in _passages(rule, evidence)):
            continue
        if rule.unless_admitted is not None and len(told) >= rule.unless_admitted:
            continue
        if rule.with_any and not _any(claims, rule.with_any):
            continue
        if _any(claims, rule.unless):
            continue
        text, quote, sure = raised
        disqualifies = rule.disqualifies and sure >= rules.flags.sure
        found.append(Flag(rule.id, text, rule.verify, disqualifies, quote, rule.id))
    codes = {flag.code for flag in found}
    for group in rules.flags.together:
        if len(codes & set(group.flags)) >= group.least:
            found.append(Flag(group.id, group.text, group.verify, True, "", group.id))
    if any(f.code == "writeoff_structural" for f in found):
        found = [f for f in found if f.code != "writeoff"]
    return tuple(sorted(found, key=lambda flag: not flag.disqualifies))


def _raised(
    rule: FlagRule, evidence: Evidence, valuation_flags: Sequence[str], heard: Sequence[Claim], checks: dict[str, str]
) -> tuple[str, str, float] | None:
    """The flag's text, the words that raise it and how sure they are read, or None."""
    claim = _any(heard, rule.when)
    if claim is not None:
        return rule.text, claim.quote, claim.confidence
    if any(flag in valuation_flags for flag in rule.valuation_flags):
        return rule.text, "", 1.0
    if any(evidence.facts.get(key) in values for key, values in rule.facts.items()):
        return rule.text, "", 1.0
    said = [checks[name] for name in rule.checks if name in checks]
    return (f"{rule.text}: {'; '.join(said)}", "", 1.0) if said else None


def _any(claims: Sequence[Claim], conditions: Sequence[Condition]) -> Claim | None:
    """The claim read most surely, of those that meet one of the conditions; the first of equals."""
    met = (c for condition in conditions for c in claims if _meets(c, condition))
    return max(met, key=lambda c: c.confidence, default=None)


def _meets(claim: Claim, condition: Condition) -> bool:
    if claim.subject != condition.subject or claim.status not in condition.statuses:
        return False
    if condition.words and not _has(claim.quote, condition.words):
        return False
    return not (condition.not_words and _has(claim.quote, condition.not_words))


def _passages(rule: FlagRule, evidence: Evidence) -> list[str]:
    """What the advert says on from the words on the subjects that raise a flag."""
    subjects = {condition.subject for condition in rule.when}
    return [passage for subject, passage in evidence.passages.items() if subject in subjects]


def _offered(passage: str, words: Sequence[str], rules: FlagRules) -> bool:
    """Whether one of the words stands in a passage without a denial among the few words before it."""
    plain = " " + re.sub(r"[^a-z0-9]+", " ", passage.lower()) + " "
    for word in words:
        for found in re.finditer(f" {re.escape(word)}(?= )", plain):
            if not set(rules.denied) & set(plain[: found.start()].split()[-rules.denied_within :]):
                return True
    return False


def _has(quote: str, words: tuple[str, ...]) -> bool:
    plain = " " + re.sub(r"[^a-z0-9]+", " ", quote.lower()) + " "
    return any(f" {word} " in plain for word in words)
