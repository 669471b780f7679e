"""Where a vehicle's repair cost comes from, worded: items by expected cost, admitted and unsaid told apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pipeline.report import words
from pipeline.types import ItemBelief, Reason, VehicleView

ITEMS_SHOWN = 12  # the rest are summed: a bar that cannot be seen explains nothing
REASONED = 5  # items that carry their first reason
SMALL_SHARE = 0.01  # of the total, below which an item joins the rest
STATE_SHOWN = 0.05  # probability below which a hidden state is not worth a word


@dataclass(frozen=True, slots=True)
class Bar:
    """One item of the cost: length in per cent of the largest, words beside it."""

    name: str
    amount: str
    chance: str
    share: float
    admitted: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Cost:
    mean: str
    between: str
    admitted: str
    unsaid: str
    bars: tuple[Bar, ...]
    history: tuple[str, ...]
    assumptions: tuple[Reason, ...]
    contradictions: tuple[str, ...]


def cost(vehicle: VehicleView, currency: str) -> Cost:
    """The cost part of a vehicle's section."""
    repair, spread = vehicle.prospect.repair, vehicle.ranked.repair_cost
    return Cost(
        mean=words.estimate(spread.mean, currency),
        between=words.between(spread, currency),
        admitted=words.estimate(repair.admitted_mean, currency),
        unsaid=words.estimate(repair.unsaid_mean, currency),
        bars=_bars(repair.items, currency),
        history=tuple(_root(name, states) for name, states in repair.roots.items()),
        assumptions=repair.assumptions,
        contradictions=repair.contradictions,
    )


def _bars(items: Iterable[ItemBelief], currency: str) -> tuple[Bar, ...]:
    ordered = sorted((i for i in items if i.expected_cost > 0), key=lambda i: -i.expected_cost)
    if not ordered:
        return ()
    most, total = ordered[0].expected_cost, sum(i.expected_cost for i in ordered)
    shown = [i for i in ordered[:ITEMS_SHOWN] if i.expected_cost >= SMALL_SHARE * total]
    if len(ordered) == len(shown) + 1:
        shown = ordered
    bars = [
        Bar(
            name=item.name,
            amount=_amount(item.expected_cost, currency),
            chance=_chance(item),
            share=round(100 * item.expected_cost / most, 1),
            admitted=item.admitted,
            why=item.reasons[0].text if n < REASONED and item.reasons else "",
        )
        for n, item in enumerate(shown)
    ]
    if rest := ordered[len(shown) :]:
        left = sum(i.expected_cost for i in rest)
        bars.append(
            Bar(f"{len(rest)} smaller items", _amount(left, currency), "", round(min(100 * left / most, 100), 1), False)
        )
    return tuple(bars)


def _amount(amount: float, currency: str) -> str:
    small = amount < words.ESTIMATE_STEP / 2
    return f"under {words.money(words.ESTIMATE_STEP, currency)}" if small else words.estimate(amount, currency)


def _chance(item: ItemBelief) -> str:
    wrong = item.minor + item.major
    if item.kind == "service":
        return f"{words.percent(wrong)} likely to be due"
    heavy = f", {words.percent(item.major)} heavy" if item.major else ""
    return f"{words.percent(wrong)} likely to need work{heavy}"


def _root(name: str, states: Mapping[str, float]) -> str:
    likely = sorted(((s, p) for s, p in states.items() if p >= STATE_SHOWN), key=lambda pair: -pair[1])
    return f"{words.spoken(name)}: " + ", ".join(f"{words.spoken(s)} {words.percent(p)}" for s, p in likely)
