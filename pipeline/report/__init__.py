"""Reads a ReportView, gives the report page (one HTML file) and the terminal table."""

from pipeline.report.page import page
from pipeline.report.table import table

__all__ = ["page", "table"]
