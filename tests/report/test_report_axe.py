"""The page against axe-core (Deque's accessibility rules, run in Chromium): no serious or critical violation."""

from pathlib import Path
from typing import Any

import pytest
import report_views

from pipeline.report import member_page, page, summary_page
from pipeline.types import AdviserView, Refusal

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed")
pytestmark = pytest.mark.browser


def serious(browser: Any, file: Path, scheme: str, width: int = 1280) -> list[str]:
    """What axe-core finds of serious or critical weight: rule, how often, the first place."""
    context = browser.new_context(offline=True, color_scheme=scheme, viewport={"width": width, "height": 900})
    opened = context.new_page()
    opened.goto(file.as_uri())
    found = axe.Axe().run(opened).response
    context.close()
    assert len(found["passes"]) > 15  # it did run
    return [
        f"{rule['id']} ({rule['impact']}) × {len(rule['nodes'])}: {rule['nodes'][0]['html'][:200]}"
        for rule in found["violations"]
        if rule["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_ranking_page(browser: Any, tmp_path: Path, report_page: str, scheme: str, width: int) -> None:
    file = tmp_path / "page.html"
    file.write_text(report_page, encoding="utf-8", newline="")
    assert serious(browser, file, scheme, width) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_advisers_pages(browser: Any, tmp_path: Path, scheme: str) -> None:
    ones = report_views.members()
    summary = AdviserView(report_views.AS_OF, "the club's pool", 8, ones, (Refusal("x.toml", "x.toml:1: not TOML"),))
    pages = [*(member_page(one) for one in ones), summary_page(summary)]
    for n, html in enumerate(pages):
        file = tmp_path / f"{n}.html"
        file.write_text(html, encoding="utf-8", newline="")
        assert serious(browser, file, scheme) == []


def test_axe_finds_what_is_wrong(browser: Any, tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    html = page(report_views.view(report_views.hand_written()[:1]))
    file.write_text(html.replace('<html lang="en">', "<html>"), encoding="utf-8", newline="")
    assert any(line.startswith("html-has-lang") for line in serious(browser, file, "light"))
