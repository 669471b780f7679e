"""Travel, ring first or leave: the decision and the considerations it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.ranking.essentials import Essentials
from pipeline.ranking.questions import Call
from pipeline.ranking.surplus import Surplus, call_cost, visit_hours
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, Evidence, Flag, Prospect, Question, Reason, Verdict


@dataclass(frozen=True, slots=True)
class Decision:
    """`stopped`: nothing that the visit worth says can outweigh it; `asks`: what must be cleared up first."""

    verdict: Verdict
    stopped: bool
    reasons: tuple[Reason, ...]
    asks: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """All that the verdict on one vehicle is taken from; money in the buyer's currency."""

    prospect: Prospect
    money: Surplus
    worth: float  # of a visit
    outside: float
    trip: float  # what a visit costs
    flags: Sequence[Flag]
    broken: Sequence[Reason]
    musts: Sequence[Question]
    essentials: Essentials
    call: Call


def decide(at: Standing, buyer: Buyer, rules: DecisionRules) -> Decision:
    """The verdict, why, and what to ask before a journey."""
    prospect, money, essentials, trip = at.prospect, at.money, at.essentials, at.trip
    rule, c = rules.decision, prospect.currency
    budget = over_budget(prospect, money, buyer, rules)
    wasted = float((money.seen < at.outside).mean())
    against: list[Reason] = [*at.broken]
    if budget == "far":
        against.append(Reason("the price is beyond your budget", "ranking.budget.far"))
    if float(money.repair.mean()) >= rules.purposes[buyer.purpose].beyond * float(money.value.mean()):
        text = "what it needs comes near what a sound one is worth: one for somebody who looks for a project"
        against.append(Reason(text, "ranking.beyond"))
    stopped = bool(against) or any(flag.disqualifies for flag in at.flags)
    if at.worth < at.outside:
        against.append(Reason("a visit is worth less than looking elsewhere", "ranking.outside"))
    elif wasted > 1 - rule.least_chance:
        text = f"fewer than one journey in {1 / rule.least_chance:.0f} to see it would end in buying it"
        against.append(Reason(text, "ranking.chance"))
    open_ = [Reason("the advert leaves open what you must have", q.rule) for q in at.musts if q.worth > 0][:1]
    asks = list(at.musts)
    if budget == "near":
        open_.append(Reason("what is asked, with the work it needs, exceeds your budget", "ranking.budget"))
        asks.append(Question(rules.questions.price, (), trip, "ask.price"))
    elif _to_settle(prospect, money, rules):
        text = "it needs work that the price must allow for: agree a figure before you set out"
        open_.append(Reason(text, "ranking.settle"))
        asks.append(Question(rules.questions.settle, (), trip, "ask.settle"))
    if prospect.distance_miles is not None and visit_hours(prospect.distance_miles, rules) > rule.visit.day_hours:
        open_.append(Reason("it is more than a day there and back: have it shown from afar first", "ranking.far"))
        asks.append(Question(rules.questions.far, (), trip, "ask.far"))
    blind = len(essentials.open) >= rules.essentials.blind
    if blind:
        text = f"the advert says nothing certain of {_listed(essentials.open)}: to set out would be to travel blind"
        open_.append(Reason(text, "ranking.blind"))
    # Of the journeys that would end in walking away, a call spares those whose reason the advert has not told.
    saved = wasted * trip * essentials.share
    costs, value = call_cost(buyer, rules), max(at.call.worth, saved)
    if not blind and value > costs:
        text = f"a call is worth about {c} {value:,.0f} in what it tells and in journeys it spares"
        open_.append(Reason(text, "ranking.call"))
    if blind or saved > costs:
        asks += [Question(q.text, q.subjects, saved / len(essentials.questions), q.rule) for q in essentials.questions]
    if against or stopped:
        return Decision("leave", stopped, (*against, *open_), tuple(asks))
    if open_ or at.flags:
        return Decision("ring first", False, tuple(open_), tuple(asks))
    return Decision("travel", False, (), tuple(asks))


def over_budget(prospect: Prospect, money: Surplus, buyer: Buyer, rules: DecisionRules) -> str:
    """ "far": the price alone is beyond any talking; "near": what is asked, or price and known work, exceed it.

    Only work that the advert tells of can be talked about; what is merely feared is in the surplus already. A hard
    budget must bear the feared work too. That the seller will come down to the budget is for a call to find out.
    """
    if buyer.budget_total is None:
        return ""
    asked = prospect.asking_price or money.paid
    if far_over(money.paid, prospect.evidence, buyer, rules):
        return "far"
    work = float(prospect.repair.samples.mean()) if buyer.budget_is_hard else prospect.repair.admitted_mean
    return "near" if max(asked, money.paid + work) > buyer.budget_total else ""


def far_over(paid: float, evidence: Evidence, buyer: Buyer, rules: DecisionRules) -> bool:
    """Whether what would be paid is beyond talking for the buyer's budget."""
    if buyer.budget_total is None:
        return False
    firm = evidence.facts.get("price_terms") == "fixed"
    soft = 0.0 if buyer.budget_is_hard or firm else rules.decision.budget.soft_over
    return paid > buyer.budget_total * (1 + soft)


def by_risk(money: Surplus, buyer: Buyer, rules: DecisionRules) -> np.ndarray:
    """What the buyer goes by: the expected surplus after a viewing, or that less the distance to the worst tail."""
    if buyer.risk == "mean":
        return money.seen
    tail = np.sort(money.full)[: max(1, int(len(money.full) * rules.decision.worst_share))]
    return np.asarray(money.seen - (money.full.mean() - tail.mean()))


def must_broken(evidence: Evidence, buyer: Buyer) -> list[Reason]:
    """Must-haves that the advert states otherwise."""
    found = []
    for key, allowed in buyer.must.items():
        stated = evidence.facts.get(key)
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


def _to_settle(prospect: Prospect, money: Surplus, rules: DecisionRules) -> bool:
    """Told work worth talking about, and a seller who talks: once the journey is made, walking away is no threat.

    With a seller who says nothing of room on the price, only where the work makes it too dear at what is asked.
    """
    assert prospect.asking_price is not None
    terms = prospect.evidence.facts.get("price_terms")
    told = prospect.repair.admitted_mean >= rules.decision.call.settle_share * prospect.asking_price
    too_dear = terms is None and float(money.full.mean()) < 0
    return told and (terms in ("negotiable", "offers") or too_dear)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
