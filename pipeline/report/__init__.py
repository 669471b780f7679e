"""Reads a ReportView, gives the report page, sheets to print, the terminal table and one vehicle in full as text."""

from pipeline.report.members import member_page, summary_page
from pipeline.report.page import page, pages
from pipeline.report.sheet import sheet
from pipeline.report.table import table
from pipeline.report.text import passed_over_lines, vehicle_lines, vehicle_text

__all__ = [
    "member_page",
    "page",
    "pages",
    "passed_over_lines",
    "sheet",
    "summary_page",
    "table",
    "vehicle_lines",
    "vehicle_text",
]
