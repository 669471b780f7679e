"""Fixtures of the report's tests."""

import pytest
import report_views
import selectolax.lexbor

from pipeline.report import page
from pipeline.types import ReportView


@pytest.fixture(scope="session")
def report_view() -> ReportView:
    return report_views.view()


@pytest.fixture(scope="session")
def report_page(report_view: ReportView) -> str:
    return page(report_view)


@pytest.fixture(scope="session")
def report_tree(report_page: str) -> selectolax.lexbor.LexborHTMLParser:
    return selectolax.lexbor.LexborHTMLParser(report_page)
