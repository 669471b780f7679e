"""From prospects to the ranking: visit worth, verdict, reasons."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.ranking.flags import red_flags
from pipeline.ranking.questions import must_questions, plan_call
from pipeline.ranking.reservation import reservation_price
from pipeline.ranking.surplus import Surplus, call_cost, surplus, visit_cost
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, Flag, Prospect, Question, Ranked, Reason, Spread, Verdict


def rank(prospects: Sequence[Prospect], buyer: Buyer, rules: DecisionRules) -> list[Ranked]:
    """Every vehicle by visit worth, best first; then those without a value; last those that nothing can make worth it.

    The ranking key is the reservation price of a visit (Weitzman 1979), so that vehicles are viewed in falling order
    until the best found beats every one left.
    """
    outside = outside_option(prospects, buyer, rules)
    ranked = [_one(prospect, buyer, rules, outside) for prospect in prospects]
    return sorted(ranked, key=_key)


def outside_option(prospects: Sequence[Prospect], buyer: Buyer, rules: DecisionRules) -> float:
    """The surplus that a buyer has without these: their own figure, else a share of the middling sound value."""
    if buyer.outside_option is not None:
        return buyer.outside_option
    values = [p.valuation.p50 for p in prospects if p.valuation.p50 is not None]
    middle = float(np.median(values)) if values else (buyer.guide_price or 0.0)
    return -rules.decision.outside_share * middle


def _key(row: Ranked) -> tuple[int, int, float, str]:
    stopped = any(flag.disqualifies for flag in row.flags) or any(
        reason.rule.startswith("must.") or reason.rule == "ranking.budget.far" for reason in row.reasons
    )
    worth = row.visit_worth if row.visit_worth is not None else -np.inf
    return (int(stopped), int(row.visit_worth is None), -worth, row.ref)


def _one(prospect: Prospect, buyer: Buyer, rules: DecisionRules, outside: float) -> Ranked:
    flags = red_flags(prospect, rules)
    broken = _must_broken(prospect, buyer)
    asks = must_questions(prospect, buyer, rules)
    cost = visit_cost(prospect.distance_miles, buyer, rules) if prospect.distance_miles is not None else None
    money = surplus(prospect, buyer, rules)
    repair = Spread.of(prospect.repair.samples)
    if money is None:
        return _unvalued(prospect, flags, broken, asks, cost, repair)
    trip = cost if cost is not None else visit_cost(0.0, buyer, rules)
    worth = float(reservation_price(_by_risk(money, buyer, rules), trip))
    plan = plan_call(prospect, money, outside, trip, rules)
    questions, call = plan.questions, call_cost(buyer, rules)
    budget = _over_budget(prospect, money, buyer, rules)
    verdict: Verdict
    if broken or any(flag.disqualifies for flag in flags) or worth < outside or budget == "far":
        verdict = "leave"
    elif asks or flags or budget == "near" or max(plan.worth, plan.saved) > call:
        verdict = "ring first"
    else:
        verdict = "travel"
    return Ranked(
        ref=prospect.ref,
        verdict=verdict,
        visit_worth=worth,
        visit_cost=cost,
        surplus=Spread.of(money.full),
        sound_value=Spread.of(money.value),
        repair_cost=repair,
        price_to_pay=money.paid,
        flags=flags,
        reasons=tuple(_reasons(prospect, money, flags, broken, budget, worth, outside, cost)),
        questions=asks + questions,
        walk_away=max(0.0, float(money.value.mean() - money.costs.sum(axis=1).mean() - outside)),
        changes=tuple(_changes(verdict, worth, outside, flags, questions)),
    )


def _by_risk(money: Surplus, buyer: Buyer, rules: DecisionRules) -> np.ndarray:
    """What the buyer goes by: the expected surplus after a viewing, or that less the distance to the worst tail."""
    if buyer.risk == "mean":
        return money.seen
    tail = np.sort(money.full)[: max(1, int(len(money.full) * rules.decision.worst_share))]
    return np.asarray(money.seen - (money.full.mean() - tail.mean()))


def _must_broken(prospect: Prospect, buyer: Buyer) -> list[Reason]:
    found = []
    for key, allowed in buyer.must.items():
        stated = prospect.evidence.facts.get(key)
        if stated is None:
            continue
        values = stated if isinstance(stated, list | tuple) else [stated]
        if not any(value in allowed for value in values):
            wanted = " or ".join(str(value) for value in allowed)
            said = " or ".join(str(value) for value in values)
            found.append(
                Reason(f"you must have {key.replace('_', ' ')} {wanted}; the advert says {said}", f"must.{key}")
            )
    return found


def _over_budget(prospect: Prospect, money: Surplus, buyer: Buyer, rules: DecisionRules) -> str:
    """ "far": the price alone is beyond any talking; "near": price and expected repairs exceed it; else ""."""
    if buyer.budget_total is None:
        return ""
    soft = 0.0 if buyer.budget_is_hard else rules.decision.budget.soft_over
    if money.paid > buyer.budget_total * (1 + soft):
        return "far"
    return "near" if money.paid + prospect.repair.samples.mean() > buyer.budget_total else ""


def _unvalued(
    prospect: Prospect,
    flags: tuple[Flag, ...],
    broken: list[Reason],
    asks: tuple[Question, ...],
    cost: float | None,
    repair: Spread,
) -> Ranked:
    reasons = [*broken, *prospect.valuation.reasons]
    if prospect.asking_price is None:
        reasons.append(Reason(prospect.refused_price or "the advert gives no price", "ranking.price"))
    verdict: Verdict = "leave" if broken or any(flag.disqualifies for flag in flags) else "ring first"
    return Ranked(
        prospect.ref, verdict, None, cost, None, None, repair, None, flags, tuple(reasons), asks,
        changes=("a price and a value to set it against",),
    )  # fmt: skip


def _reasons(
    prospect: Prospect,
    money: Surplus,
    flags: tuple[Flag, ...],
    broken: list[Reason],
    budget: str,
    worth: float,
    outside: float,
    cost: float | None,
) -> list[Reason]:
    c = prospect.currency
    found = [*broken, *(Reason(flag.text, flag.rule, flag.quote) for flag in flags)]
    value, repair = float(money.value.mean()), float(prospect.repair.samples.mean())
    gap = value - money.paid
    side = "below" if gap >= 0 else "above"
    found.append(Reason(f"asked about {c} {abs(gap):,.0f} {side} what a sound one is worth to you", "ranking.surplus"))
    found.append(
        Reason(
            f"expected repairs {c} {repair:,.0f}, of which the advert admits {c} {prospect.repair.admitted_mean:,.0f}",
            "ranking.repair",
        )
    )
    top = sorted(prospect.repair.items, key=lambda item: -item.expected_cost)[:3]
    for item in top:
        if item.expected_cost >= max(50.0, 0.08 * repair):
            quote = next((reason.quote for reason in item.reasons if reason.quote), "")
            said = "admitted" if item.admitted else "not said"
            found.append(Reason(f"{item.name}: {c} {item.expected_cost:,.0f} expected, {said}", item.item, quote))
    if budget == "far":
        found.append(Reason("the price is beyond your budget", "ranking.budget.far"))
    elif budget == "near":
        found.append(Reason("price and expected repairs together exceed your budget", "ranking.budget"))
    if cost is None:
        found.append(
            Reason("how far away it is is not known; the visit's cost counts only the hours there", "ranking.visit")
        )
    if worth < outside:
        found.append(Reason("a visit is worth less than looking elsewhere", "ranking.outside"))
    return found


def _changes(
    verdict: Verdict,
    worth: float,
    outside: float,
    flags: tuple[Flag, ...],
    questions: tuple[Question, ...],
) -> list[str]:
    """What would change the verdict."""
    found = [f"proof against: {flag.text}" for flag in flags if flag.disqualifies]
    if verdict == "leave" and worth < outside:
        found.append(f"a price about {outside - worth:,.0f} lower")
    if verdict == "ring first":
        found += [f"the answer to: {q.text}" for q in questions[:2]]
    if verdict == "travel":
        found.append(
            f"a price about {max(worth - outside, 0):,.0f} higher, or work of that size found on the telephone"
        )
    return found
