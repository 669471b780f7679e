"""The ranking as a table for a terminal. Nothing from an advert reaches the terminal as a control or an escape."""

from __future__ import annotations

import re
from collections.abc import Sequence
from io import StringIO
from typing import Literal

from rich import box
from rich.cells import cell_len
from rich.console import Console, JustifyMethod
from rich.table import Table
from rich.text import Text

from pipeline.report import words
from pipeline.report.learnt import FATES
from pipeline.report.section import asked_price, why_not_valued
from pipeline.types import ReportView, VehicleView

NUMBER = "number"  # what `show` and other commands take; the place in the ranking moves from night to night
COLUMNS = ("visit worth", "price", "surplus", "10 to 90 %", "repair", "unsaid", "value", "distance", NUMBER)
# Columns in the order in which they give way, and the cells below which a title has too little room beside them.
DROPPED = {
    "unsaid": 26,
    "10 to 90 %": 26,
    "value": 26,
    "distance": 26,
    "repair": 26,
    "surplus": 26,
    NUMBER: 10,
    "price": 10,
}
MOST_ROWS, MOST_CHANGES = 500, 100  # what a terminal is worth; the page has them all
GAP = 2  # cells between columns, one of which the box draws
# ECMA-48 control sequences and strings, then any other control, format or separator character that could move the
# cursor, hide text or turn its direction (Unicode categories Cc, Cf, Zl, Zp; UAX #9).
_ESCAPES = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]"
    r"|(?:\x1b[\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c|$)"
    r"|\x1b[ -/]*[0-~]?"
)
_CONTROLS = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\ud800-\udfff\U000e0000-\U000e007f]+"
)


def plain(text: str) -> str:
    """One line without control or escape sequences; runs of white space become a space."""
    return " ".join(_CONTROLS.sub(" ", _ESCAPES.sub(" ", text)).split())


def table(view: ReportView, width: int) -> str:
    """The ranking, best first, in lines of at most `width` cells (at least 40), without colour."""
    width = max(width, 40)
    out = StringIO()
    console = Console(
        file=out, width=width, color_system=None, force_terminal=False, legacy_windows=False, highlight=False,
        emoji=False, markup=False,
    )  # fmt: skip
    if view.vehicles:
        shown = view.vehicles[:MOST_ROWS]
        console.print(_ranking(shown, view, width))
        for number, vehicle in enumerate(shown, 1):
            if vehicle.gone:
                console.print(Text(f"{number}: probably gone, not seen lately"))
            if vehicle.ranked.visit_worth is None:
                console.print(Text(f"{number}: not valued: {plain(why_not_valued(vehicle))}"))
    else:
        console.print(Text("No vehicle to rank yet: add saved adverts first."))
    if len(view.vehicles) > MOST_ROWS:
        console.print(Text(f"The best {MOST_ROWS:,} of {len(view.vehicles):,}; the page has them all."))
    if view.passed_over:
        console.print(Text(f"{len(view.passed_over):,} more were passed over at a quick look; the page lists them."))
    for vehicle in view.apart:
        console.print(Text(f"Kept apart: {vehicle.ref} {plain(vehicle.title)}: {FATES.get(vehicle.fate, '')}"))
    for sentence in view.changes[:MOST_CHANGES]:
        console.print(Text(f"Changed: {plain(sentence)}"))
    if len(view.changes) > MOST_CHANGES:
        console.print(Text(f"Changed: {len(view.changes) - MOST_CHANGES:,} more, on the page"))
    for refusal in view.refusals:
        where = f"{refusal.source}:{refusal.line}" if refusal.line else refusal.source
        console.print(Text(f"Not read: {plain(where)}: {plain(refusal.reason)}"))
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def _ranking(vehicles: Sequence[VehicleView], view: ReportView, width: int) -> Table:
    rows = [_cells(vehicle, view.buyer.currency, view.buyer.units) for vehicle in vehicles]
    fixed = {name: max(cell_len(name), *(cell_len(row[name]) for row in rows)) for name in COLUMNS}
    fixed["verdict"] = len("ring first")
    digits = len(str(len(rows)))
    names = ["verdict", *COLUMNS]

    def room() -> int:
        return width - digits - GAP - sum(fixed[name] + GAP for name in names)

    for name, least in DROPPED.items():
        if room() < least:
            names.remove(name)
    ranking = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, GAP - 1, 0, 0))
    ranking.add_column("", justify="right", no_wrap=True, width=digits)
    titles = max(cell_len(row["vehicle"]) for row in rows)
    ranking.add_column("vehicle", no_wrap=True, overflow="ellipsis", width=max(min(room(), titles), 7))
    for name in names:
        justify: JustifyMethod = "left" if name == "verdict" else "right"
        ranking.add_column(name, justify=justify, no_wrap=True, width=fixed[name])
    for number, row in enumerate(rows, 1):
        ranking.add_row(str(number), *(Text(row[name]) for name in ("vehicle", *names)))
    return ranking


def _cells(vehicle: VehicleView, currency: str, units: Literal["mi", "km"]) -> dict[str, str]:
    ranked, prospect = vehicle.ranked, vehicle.prospect

    def known(amount: float | None) -> str:
        return words.estimate(amount, currency) if amount is not None else "–"

    return {
        "vehicle": plain(vehicle.title),
        "verdict": ranked.verdict,
        "visit worth": known(ranked.visit_worth),
        "price": asked_price(vehicle) if prospect.asking_price is not None else "–",
        "surplus": known(ranked.surplus.mean if ranked.surplus else None),
        "10 to 90 %": words.between(ranked.surplus, currency) if ranked.surplus else "–",
        "value": known(ranked.sound_value.mean if ranked.sound_value else None),
        "repair": words.estimate(ranked.repair_cost.mean, currency),
        "unsaid": words.estimate(prospect.repair.unsaid_mean, currency),
        "distance": words.distance(prospect.distance_miles, units) if prospect.distance_miles is not None else "–",
        NUMBER: vehicle.ref,
    }
