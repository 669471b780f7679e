"""Where a vehicle's repair cost comes from, worded: items by expected cost, admitted and unsaid told apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pipeline.report import words
from pipeline.types import ItemBelief, Reason, VehicleView

ITEMS_SHOWN = 6  # the rest are summed: a bar that cannot be seen explains nothing
REASONED = 3  # items that carry their first reason
SMALL_SHARE = 0.01  # of the total, below which an item joins the rest
GROUPS_SHOWN = 8  # likewise
DEAREST = 2  # items named beside a group
GROUP_WORDS = {"service": "overdue service", "wheels": "wheels and tyres", "habitation": "living part"}
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
class GroupBar:
    """One part of the vehicle: admitted and unsaid cost, lengths in per cent of the dearest part."""

    name: str
    amount: str
    admitted: float
    unsaid: float
    dearest: str  # its dearest items by name


@dataclass(frozen=True, slots=True)
class Cost:
    mean: str
    between: str
    admitted: str
    unsaid: str
    groups: tuple[GroupBar, ...]
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
        groups=_groups(repair.items, currency),
        bars=_bars(repair.items, currency),
        history=tuple(_root(name, states) for name, states in repair.roots.items()),
        assumptions=repair.assumptions,
        contradictions=repair.contradictions,
    )


def _groups(items: Iterable[ItemBelief], currency: str) -> tuple[GroupBar, ...]:
    """All of the cost by the part of the vehicle that it falls on, dearest part first."""
    parts: dict[str, list[ItemBelief]] = {}
    for item in items:
        if item.expected_cost > 0:
            parts.setdefault(item.group, []).append(item)
    ordered = sorted(parts.items(), key=lambda part: (-_sum(part[1]), part[0]))
    small = [item for _, found in ordered[GROUPS_SHOWN - 1 :] for item in found]
    if len(ordered) > GROUPS_SHOWN:
        ordered = [*ordered[: GROUPS_SHOWN - 1], ("all else", small)]
    most = max((_sum(found) for _, found in ordered), default=0.0)
    rows = []
    for name, found in ordered:
        total, admitted = _sum(found), _sum(i for i in found if i.admitted)
        dearest = sorted(found, key=lambda i: -i.expected_cost)[:DEAREST]
        rows.append(
            GroupBar(
                name=GROUP_WORDS.get(name, name),
                amount=_amount(total, currency),
                admitted=round(100 * admitted / most, 1),
                unsaid=round(100 * (total - admitted) / most, 1),
                dearest="; ".join(i.name for i in dearest),
            )
        )
    return tuple(rows)


def _sum(items: Iterable[ItemBelief]) -> float:
    return sum(i.expected_cost for i in items)


def _bars(items: Iterable[ItemBelief], currency: str) -> tuple[Bar, ...]:
    ordered = sorted((i for i in items if i.expected_cost > 0), key=lambda i: -i.expected_cost)
    if not ordered:
        return ()
    most, total = ordered[0].expected_cost, sum(i.expected_cost for i in ordered)
    shown = [i for i in ordered[:ITEMS_SHOWN] if i.expected_cost >= SMALL_SHARE * total]
    if len(ordered) == len(shown) + 1:
        shown = ordered
    told: set[str] = set()
    bars = [
        Bar(
            name=item.name,
            amount=_amount(item.expected_cost, currency),
            chance=_chance(item),
            share=round(100 * item.expected_cost / most, 1),
            admitted=item.admitted,
            why=_why(item, told) if n < REASONED else "",
        )
        for n, item in enumerate(shown)
    ]
    if rest := ordered[len(shown) :]:
        left = sum(i.expected_cost for i in rest)
        bars.append(Bar(f"{len(rest)} smaller items", _amount(left, currency), "", 0.0, False))
    return tuple(bars)


def _why(item: ItemBelief, told: set[str]) -> str:
    """The item's first reason, once: what is the same for the next item is not said again."""
    text = next((reason.text for reason in item.reasons), "")
    if text in told:
        return ""
    told.add(text)
    return text


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
