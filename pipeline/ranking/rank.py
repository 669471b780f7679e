"""From prospects to the ranking: visit worth, verdict, prices, questions, reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.itembeliefs import ItemBeliefs
from pipeline.ranking.essentials import essentials
from pipeline.ranking.flags import red_flags
from pipeline.ranking.outside import outside_option
from pipeline.ranking.price import price_to_pay
from pipeline.ranking.questions import must_questions, plan_call
from pipeline.ranking.reservation import reservation_price
from pipeline.ranking.speaks_for import speaks_for
from pipeline.ranking.surplus import Surplus, mean_surplus, surplus, visit_cost
from pipeline.ranking.verdict import Standing, by_risk, decide, must_broken
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, Flag, Prospect, Question, Ranked, Reason, Spread, Verdict

VERDICTS: tuple[Verdict, ...] = ("travel", "ring first", "leave")  # what can be acted on now stands first


@dataclass(frozen=True, slots=True)
class _Case:
    prospect: Prospect
    money: Surplus | None
    flags: tuple[Flag, ...]

    @property
    def ruled_out(self) -> bool:
        return any(flag.disqualifies for flag in self.flags)


def rank(prospects: Sequence[Prospect], buyer: Buyer, rules: DecisionRules) -> list[Ranked]:
    """First what is worth setting out to, then whom to ring, then what to leave; last what nothing makes worth it.

    Within each the key is the reservation price of a visit (Weitzman 1979), so that vehicles are viewed in falling
    order until the best found beats every one left; those without a value follow.
    """
    outside = going_without(prospects, buyer, rules)
    # The samples of each are drawn once more, for those of ten thousand vehicles together would fill the memory.
    rows = [_one(_case(p, buyer, rules), buyer, rules, outside) for p in prospects]
    return [row for _, row in sorted(rows, key=lambda pair: _key(*pair))]


def going_without(prospects: Sequence[Prospect], buyer: Buyer, rules: DecisionRules) -> float:
    """The outside option of a search: the surplus that the buyer has without any of these."""
    values = [p.valuation.p50 for p in prospects if p.valuation.p50 is not None]
    if buyer.outside_option is not None:
        return outside_option(values, [], buyer, rules)
    found = [_usual(p, buyer, rules) for p in prospects]
    return outside_option(values, [one for one in found if one is not None], buyer, rules)


def _usual(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> float | None:
    """The expected surplus of a vehicle, None where it has none or a flag rules it out."""
    if any(flag.disqualifies for flag in red_flags(prospect, buyer, rules)):
        return None
    if buyer.risk == "mean":
        return mean_surplus(prospect, buyer, rules)
    money = surplus(prospect, buyer, rules)
    return None if money is None else float(by_risk(money, buyer, rules).mean())


def _case(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> _Case:
    return _Case(prospect, surplus(prospect, buyer, rules), red_flags(prospect, buyer, rules))


def _key(stopped: bool, row: Ranked) -> tuple[bool, int, bool, float, str]:
    worth = row.visit_worth if row.visit_worth is not None else -np.inf
    return (stopped, VERDICTS.index(row.verdict), row.visit_worth is None, -worth, row.ref)


def _one(case: _Case, buyer: Buyer, rules: DecisionRules, outside: float) -> tuple[bool, Ranked]:
    prospect, money, flags = case.prospect, case.money, case.flags
    broken, musts = must_broken(prospect.evidence, buyer), must_questions(prospect, buyer, rules)
    cost = visit_cost(prospect.distance_miles, buyer, rules) if prospect.distance_miles is not None else None
    if money is None:
        return _unvalued(case, broken, musts, cost)
    trip = cost if cost is not None else visit_cost(0.0, buyer, rules)
    worth = float(reservation_price(by_risk(money, buyer, rules), trip))
    a_question = rules.decision.call.question_hours * buyer.time_value_per_hour
    call = plan_call(prospect, money, outside, trip, a_question, rules)
    left_open = essentials(prospect, buyer, rules)
    standing = Standing(prospect, money, worth, outside, trip, flags, broken, musts, left_open, call)
    decision = decide(standing, buyer, rules)
    price = price_to_pay(prospect, money, outside, buyer, rules)
    subjects = {subject for ask in decision.asks for subject in ask.subjects}
    questions = (*decision.asks, *(q for q in call.questions if not subjects & set(q.subjects)))
    reasons = [*decision.reasons, *_reasons(prospect, money, flags, cost, rules)]
    return decision.stopped, Ranked(
        ref=prospect.ref,
        verdict=decision.verdict,
        visit_worth=worth,
        visit_cost=cost,
        surplus=Spread.of(money.full),
        sound_value=Spread.of(money.value),
        repair_cost=Spread.of(prospect.repair.samples),
        price_to_pay=money.paid,
        flags=flags,
        reasons=tuple(reasons),
        questions=questions,
        walk_away=price.walk_away,
        changes=tuple(_changes(decision.verdict, worth, outside, flags, questions)),
        opening_offer=price.opening,
        settling_price=price.settling,
        price_reasons=price.reasons,
        price_after=price.after,
    )


def _unvalued(case: _Case, broken: list[Reason], asks: tuple[Question, ...], cost: float | None) -> tuple[bool, Ranked]:
    prospect, flags = case.prospect, case.flags
    reasons = [*broken, *(Reason(f.text, f.rule, f.quote) for f in flags), *prospect.valuation.reasons]
    if prospect.asking_price is None:
        reasons.append(Reason(prospect.refused_price or "the advert gives no price", "ranking.price"))
    stopped = bool(broken) or case.ruled_out
    verdict: Verdict = "leave" if stopped else "ring first"
    return stopped, Ranked(
        prospect.ref, verdict, None, cost, None, None, Spread.of(prospect.repair.samples), None, flags, tuple(reasons),
        asks, changes=("a price and a value to set it against",),
    )  # fmt: skip


def _reasons(
    prospect: Prospect, money: Surplus, flags: tuple[Flag, ...], cost: float | None, rules: DecisionRules
) -> list[Reason]:
    c = prospect.currency
    found = [Reason(flag.text, flag.rule, flag.quote) for flag in flags]
    value, repair = float(money.value.mean()), float(prospect.repair.samples.mean())
    gap = value - money.paid
    side = "below" if gap >= 0 else "above"
    found.append(Reason(f"asked about {c} {abs(gap):,.0f} {side} what a sound one is worth to you", "ranking.surplus"))
    found += speaks_for(prospect, rules)
    found.append(
        Reason(
            f"expected repairs {c} {repair:,.0f}, of which the advert admits {c} {prospect.repair.admitted_mean:,.0f}",
            "ranking.repair",
        )
    )
    items, claims = ItemBeliefs.of(prospect.repair.items), prospect.evidence.claims
    for item in (items[n] for n in items.dearest(3)):
        if item.expected_cost >= max(50.0, 0.08 * repair):
            quote = next((reason.quote for reason in item.reasons if reason.quote), "")
            again = item.admitted and any(c.status == "done" for c in claims if c.subject in item.subjects)
            said = "done once and due again" if again else "admitted" if item.admitted else "not said"
            found.append(Reason(f"{item.name}: {c} {item.expected_cost:,.0f} expected, {said}", item.item, quote))
    if cost is None:
        found.append(
            Reason("how far away it is is not known; the visit's cost counts only the hours there", "ranking.visit")
        )
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
