"""What a run gives to machines and to the next run: results as JSON, and what changed since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pipeline.errors import UsageError
from pipeline.types import PassedOver, VehicleView


def as_json(view: VehicleView) -> dict[str, Any]:
    """One vehicle of `viewworthy rank --json`. A vehicle that could not be valued has nulls and a reason."""
    row, prospect = view.ranked, view.prospect

    def spread(s: Any) -> dict[str, float] | None:
        return None if s is None else {k: round(getattr(s, k), 2) for k in ("mean", "p10", "p50", "p90")}

    repair = spread(row.repair_cost) or {}
    repair |= {
        "admitted": round(prospect.repair.admitted_mean, 2),
        "unsaid": round(prospect.repair.unsaid_mean, 2),
    }
    top = sorted(prospect.repair.items, key=lambda item: -item.expected_cost)[:10]
    return {
        "ref": row.ref,
        "title": view.title,
        "advert_ids": list(prospect.advert_ids),
        "verdict": row.verdict,
        "visit_worth": _rounded(row.visit_worth),
        "asking_price": prospect.asking_price,
        "currency": prospect.currency,
        "sound_value": spread(row.sound_value),
        "repair_cost": repair,
        "surplus": spread(row.surplus),
        "visit_cost": _rounded(row.visit_cost),
        "opening_offer": _rounded(row.opening_offer),
        "settling_price": _rounded(row.settling_price),
        "walk_away": _rounded(row.walk_away),
        "price_reasons": [reason.text for reason in row.price_reasons],
        "price_after": [
            {"item": after.item, "what": after.what, "settling_price": after.settling, "walk_away": after.walk_away}
            for after in row.price_after
        ],
        "place": prospect.place,
        "distance_miles": _rounded(prospect.distance_miles),
        "flags": [flag.code for flag in row.flags],
        "reasons": [reason.text + (f" (“{reason.quote}”)" if reason.quote else "") for reason in row.reasons],
        "top_faults": [
            {
                "fault": item.item,
                "minor": round(item.minor, 4),
                "major": round(item.major, 4),
                "expected_cost": round(item.expected_cost, 2),
            }
            for item in top
        ],
        "questions": [question.text for question in row.questions],
        "changes": list(row.changes),
    }


def passed_over_json(one: PassedOver) -> dict[str, Any]:
    """One vehicle of a very large search that a quick look left out; see `as_json` for the others."""
    return {
        "ref": one.ref,
        "title": one.title,
        "advert_ids": [advert_id for advert_id, _ in one.adverts],
        "verdict": "leave",
        "visit_worth": None,
        "asking_price": one.asking_price,
        "worth_at_a_quick_look": _rounded(one.worth),
        "passed_over": one.why,
    }


def write_files(folder: Path, files: Mapping[str, str]) -> list[Path]:
    """Writes pages into a folder: all of them are worded and written beside the old ones before any is replaced.

    Raises UsageError naming the folder when it cannot.
    """
    written: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        try:
            for name in files:
                written.append((folder / f"{name}.part", folder / name))
                written[-1][0].write_text(files[name], encoding="utf-8", newline="")
        except BaseException:
            for part, _ in written:
                part.unlink(missing_ok=True)
            raise
        return [part.replace(path) for part, path in written]
    except OSError as error:
        raise UsageError(f"cannot be written ({error.strerror})", where=str(folder)) from error


def _rounded(number: float | None) -> float | None:
    return None if number is None else round(number, 2)


def changes_since(before: Sequence[tuple[str, str, float | None]], views: Sequence[VehicleView]) -> list[str]:
    """What is new, what became cheaper or dearer and whose verdict changed since the last run.

    `before`: number, verdict and asking price of the vehicles of the last run.
    """
    if not before:
        return []
    old = {ref: (verdict, price) for ref, verdict, price in before}
    found = []
    for view in views:
        was = old.get(view.ref)
        if was is None:
            found.append(f"new: {view.title} ({view.ranked.verdict})")
            continue
        verdict, then = was
        price = view.prospect.asking_price
        if price is not None and then is not None and price != then:
            way = "down" if price < then else "up"
            found.append(f"price {way} from {then:,.0f} to {price:,.0f}: {view.title}")
        if verdict != view.ranked.verdict:
            found.append(f"{verdict} → {view.ranked.verdict}: {view.title}")
    return found
