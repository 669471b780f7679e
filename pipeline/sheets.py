"""A vehicle's sheets: the knowledge of the buyer's packs and the viewing rules joined to what the run gave."""

from __future__ import annotations

from pipeline.paths import data_folder
from pipeline.report import sheet
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.viewing import load_viewing
from pipeline.search import Search
from pipeline.types import ReportView, VehicleView


def sheet_of(search: Search, view: ReportView, vehicle: VehicleView) -> str:
    """Call sheet and viewing sheet of one vehicle of a run's view, as one HTML file to write as UTF-8."""
    rules = data_folder("rules")
    knowledge = load_knowledge(search.buyer.packs, rules, [search.packs] if search.packs.is_dir() else [])
    return sheet(view, vehicle, knowledge, load_viewing(rules))
