"""What a note changed: one vehicle before and after, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.report import words
from pipeline.types import ItemBelief, ReportView, VehicleView

SHOWN = 8
LEAST_MOVE = 0.03  # of a probability
LEAST_COST = 15.0  # buyer's currency


@dataclass(frozen=True, slots=True)
class Change:
    what: str
    before: str
    after: str


def changed(before: ReportView, after: ReportView, ref: str) -> tuple[Change, ...]:
    """The rows of a table before and after; beliefs that moved most last. Empty when nothing moved."""
    was, now = find(before, ref), find(after, ref)
    if was is None or now is None:
        return ()
    rows = [Change("stands", _standing(before, was), _standing(after, now))]
    rows += [Change(name, a, b) for (name, a), (_, b) in zip(_figures(was), _figures(now), strict=True)]
    rows += _beliefs(was.prospect.repair.items, now.prospect.repair.items, now.prospect.currency)
    return tuple(row for row in rows if row.before != row.after)


def find(view: ReportView, ref: str) -> VehicleView | None:
    """A vehicle of the ranking or of those kept apart."""
    return next((v for v in (*view.vehicles, *view.apart) if v.ref == ref), None)


def _standing(view: ReportView, vehicle: VehicleView) -> str:
    for place, one in enumerate(view.vehicles, 1):
        if one.ref == vehicle.ref:
            return f"{place} of {len(view.vehicles)}, {vehicle.ranked.verdict}"
    return f"kept apart: {vehicle.fate}"


def _figures(vehicle: VehicleView) -> list[tuple[str, str]]:
    row, repair, c = vehicle.ranked, vehicle.prospect.repair, vehicle.prospect.currency

    def money(amount: float | None) -> str:
        return "not known" if amount is None else words.estimate(amount, c)

    return [
        ("visit worth", money(row.visit_worth)),
        ("repair cost", f"{money(row.repair_cost.mean)} ({words.between(row.repair_cost, c)})"),
        ("of which admitted", money(repair.admitted_mean)),
        ("sound value", money(row.sound_value.mean if row.sound_value else None)),
        ("surplus", money(row.surplus.mean if row.surplus else None)),
        ("price expected to be paid", money(row.price_to_pay)),
        ("opening offer", money(row.opening_offer)),
        ("settle at", money(row.settling_price)),
        ("walk away above", money(row.walk_away)),
    ]


def _beliefs(was: Sequence[ItemBelief], now: Sequence[ItemBelief], currency: str) -> list[Change]:
    old = {item.item: item for item in was}
    moved = []
    for item in now:
        before = old.get(item.item)
        if before is None:
            continue
        shift = max(abs(item.minor - before.minor), abs(item.major - before.major))
        cost = abs(item.expected_cost - before.expected_cost)
        if shift >= LEAST_MOVE or cost >= LEAST_COST:
            moved.append((cost, shift, item, before))
    moved.sort(key=lambda row: (-row[0], -row[1], row[2].item))
    return [Change(item.name, belief(before, currency), belief(item, currency)) for _, _, item, before in moved[:SHOWN]]


def belief(item: ItemBelief, currency: str) -> str:
    """`minor 12 %, major 3 %, £80 expected`; a service is overdue or not."""
    cost = f"{words.estimate(item.expected_cost, currency)} expected"
    if item.kind == "service":
        return f"overdue {words.percent(item.minor)}, {cost}"
    return f"minor {words.percent(item.minor)}, major {words.percent(item.major)}, {cost}"
