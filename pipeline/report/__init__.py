"""Reads a ReportView, gives the report page (one HTML file), the terminal table and one vehicle in full as text."""

from pipeline.report.page import page
from pipeline.report.table import table
from pipeline.report.text import vehicle_text

__all__ = ["page", "table", "vehicle_text"]
