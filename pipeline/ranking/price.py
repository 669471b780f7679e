"""What to offer, what to settle at and above which price to walk away, with the sentences that justify it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.itembeliefs import ItemBeliefs
from pipeline.ranking.surplus import Surplus
from pipeline.schemas.decision import DecisionRules
from pipeline.types import Buyer, PriceAfter, Prospect, Reason

MOST_AFTER = 6


@dataclass(frozen=True, slots=True)
class PriceToPay:
    """Buyer's currency. `after`: what a finding at the viewing would make of the price."""

    opening: float
    settling: float
    walk_away: float
    reasons: tuple[Reason, ...]
    after: tuple[PriceAfter, ...]


def price_to_pay(prospect: Prospect, money: Surplus, outside: float, buyer: Buyer, rules: DecisionRules) -> PriceToPay:
    """The walk-away price leaves the buyer as well off as the outside option; the budget, repairs taken off, caps it.

    A deal is expected between the asking price and the seller's floor, as far above the floor as below the asking
    price; the opening offer is that floor, less all that was found since and the advert had not told.
    """
    assert prospect.asking_price is not None
    asking, share = prospect.asking_price, rules.decision.paying.found_off
    repair = float(money.repair.mean())
    worth = float(money.value.mean())
    walk = worth - repair - outside
    capped = buyer.budget_total is not None and walk > buyer.budget_total - float(prospect.repair.samples.mean())
    if capped and buyer.budget_total is not None:
        walk = buyer.budget_total - float(prospect.repair.samples.mean())
    walk = max(walk, 0.0)
    found = found_cost(prospect)
    settling = max(money.paid - share * found, 0.0)
    opening = max(2 * money.paid - asking - found, prospect.least_price or 0.0)
    if prospect.agreed_price is not None:
        opening = max(prospect.agreed_price - found, 0.0)
    reasons = list(_reasons(prospect, money, repair, found, outside, walk, capped, buyer, rules))
    if settling > walk:
        reasons.append(
            Reason(
                f"at what is likely to be taken it is {settling - walk:,.0f} too dear: the most to pay is {walk:,.0f}",
                "ranking.price.too_dear",
            )
        )
        settling = walk
    opening = min(opening, settling)
    step = rules.decision.paying.round_to
    return PriceToPay(
        _down(opening, step),
        _down(settling, step),
        walk,
        tuple(reasons),
        _after(prospect, money, settling, walk, rules),
    )


def found_cost(prospect: Prospect) -> float:
    """Expected cost of what a call or a viewing found wrong and the advert had not owned up to."""
    findings = prospect.evidence.findings
    if not findings:
        return 0.0
    return sum(
        item.expected_cost
        for item in prospect.repair.items
        if not item.admitted and findings.get(item.item) in ("minor", "major")
    )


def _after(
    prospect: Prospect, money: Surplus, settling: float, walk: float, rules: DecisionRules
) -> tuple[PriceAfter, ...]:
    """The findings that would move the price most, each with what else it makes likelier."""
    costs, total = money.costs, money.repair
    middle, rows = float(total.mean()), []
    there = costs.amounts > 0
    of, with_all = costs.items()[there], total.take(costs.rows[there])
    hits = np.bincount(of, minlength=len(costs.counts))
    given = np.bincount(of, with_all, len(costs.counts)) / np.maximum(hits, 1)
    parts = ItemBeliefs.of(prospect.repair.items).parts
    for n, (key, name) in enumerate(zip(parts.ids, parts.names, strict=True)):
        chance = float(hits[n]) / costs.samples
        known = key in prospect.evidence.findings
        if known or hits[n] < 20 or chance > 0.9:
            continue
        more = float(given[n]) - middle
        if more > 0:
            rows.append((chance * more, name, key, more))
    step = rules.decision.paying.round_to
    return tuple(
        PriceAfter(
            what=name,
            item=item,
            settling=_down(max(min(settling - rules.decision.paying.found_off * more, walk - more), 0.0), step),
            walk_away=_down(max(walk - more, 0.0), step),
        )
        for _, name, item, more in sorted(rows, key=lambda row: (-row[0], row[2]))[:MOST_AFTER]
    )


def _reasons(
    prospect: Prospect,
    money: Surplus,
    repair: float,
    found: float,
    outside: float,
    walk: float,
    capped: bool,
    buyer: Buyer,
    rules: DecisionRules,
) -> list[Reason]:
    assert prospect.asking_price is not None
    asking, worth = prospect.asking_price, float(money.value.mean())
    terms = prospect.evidence.facts.get("price_terms")
    said = {"fixed": "says the price is fixed", "negotiable": "says there is room on the price"}.get(
        str(terms), "asks for offers" if terms == "offers" else "says nothing of room on the price"
    )
    off = asking - money.paid
    words = [
        Reason(
            f"a sound one is worth {worth:,.0f} to you and this one is expected to need {repair:,.0f}; "
            f"an ordinary one bought elsewhere would leave you {abs(outside):,.0f} "
            f"{'worse off than its sound value' if outside < 0 else 'to the good'}: walk away above {walk:,.0f}"
            + (", which the budget sets" if capped else ""),
            "ranking.price.walk_away",
        ),
        Reason(f"{money.paid:,.0f} is agreed with the seller", "note.price_agreed")
        if prospect.agreed_price is not None
        else Reason(
            f"the seller {said}: "
            + (f"about {off:,.0f} usually comes off" if off > 0 else "nothing usually comes off"),
            "ranking.price.terms",
        ),
    ]
    if prospect.least_price is not None and prospect.agreed_price is None:
        words.append(Reason(f"{prospect.least_price:,.0f} was refused or is the least", "note.price_refused"))
    if prospect.repair.admitted_mean > 0:
        words.append(
            Reason(
                f"the advert itself owns up to about {prospect.repair.admitted_mean:,.0f} of work, which the price may "
                "already allow for",
                "ranking.price.admitted",
            )
        )
    if found > 0:
        part = rules.decision.paying.found_off
        words.append(
            Reason(
                f"about {found:,.0f} of work was found that the advert does not tell of: ask for all of it off, "
                f"settle at {part:.0%} of it",
                "ranking.price.found",
            )
        )
    return words


def _down(amount: float, step: float) -> float:
    """Rounded down to what people offer."""
    return float(np.floor(amount / step) * step)
