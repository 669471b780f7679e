"""The desk in Chromium, scripts switched off: from the printed address over pasting and correcting to the sheet."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desk_running import FAR_AWAY, Running

pytestmark = pytest.mark.browser
WAIT = FAR_AWAY * 1000
ADVERT = """1999 Marrick Dale camper for sale, 2.4 diesel, manual. 88,000 miles.
<img src=x onerror=alert(1)> Sills welded in 2021, clutch slipping. MOT till June 2027.
£3,300 ono, Settle."""


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 1280, "height": 900})
    context.set_default_timeout(WAIT)
    page, troubles, asked = context.new_page(), [], []
    page.on("console", lambda message: troubles.append(message.text))
    page.on("dialog", lambda dialog: (troubles.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: asked.append(request.url))
    yield page
    assert troubles == []
    assert all(url.startswith("http://127.0.0.1:") for url in asked)
    context.close()


def test_from_paste_to_sheet(desk: Running, page: Any, tmp_path: Path) -> None:
    page.goto(desk.address)
    page.wait_for_selector("table.ranking", timeout=WAIT)
    assert "token" not in page.url and page.locator("tbody tr").count() == 2

    page.get_by_role("link", name="Add adverts").click()
    page.get_by_label("Paste an advert").fill(ADVERT)
    page.get_by_role("button", name="Read them").click()
    page.wait_for_selector(".advert", timeout=WAIT)
    assert page.locator(".advert").text_content() == ADVERT, "the advert is shown as it is, and as text"
    marked = page.locator("mark.done").all_text_contents()
    assert any("Sills welded in 2021" in words for words in marked), marked
    assert page.locator(".advert img").count() == 0

    row = page.locator("tr", has_text="Mileage").first
    row.get_by_text("Correct").click()
    row.get_by_label("mileage").fill("108,000")
    row.get_by_role("button", name="Save").click()
    page.wait_for_selector("#told", timeout=WAIT)
    assert "was read as 88,000" in page.locator(".told").inner_text()
    assert page.locator(".changes tr").count() > 2

    row = page.locator("tr", has_text="Sills and jacking points").first
    row.get_by_text("Correct").click()
    row.get_by_label("It says").select_option("due")
    row.get_by_role("button", name="Save").click()
    page.wait_for_selector("text=needs doing", timeout=WAIT)

    page.get_by_label("At the viewing").check()
    page.get_by_label("Part 1", exact=True).select_option("clutch")
    page.get_by_label("State of part 1").select_option("major")
    page.get_by_label("In your own words").fill("He has two keys. The tyres are perished.")
    page.get_by_label("Agreed (GBP)").fill("2,800")
    page.get_by_role("button", name="Save, and show what it changes").click()
    page.wait_for_selector("text=Price agreed: £2,800", timeout=WAIT)
    changes = page.locator(".changes").inner_text()
    assert "Price expected to be paid" in changes and "£2,800" in changes and "Clutch worn" in changes

    page.get_by_role("button", name="Take the newest back").click()
    page.wait_for_selector("text=Taken back", timeout=WAIT)
    assert page.locator(".note.undone").count() == 1

    page.get_by_role("link", name="Call sheet and viewing sheet").click()
    page.wait_for_load_state()
    assert "Marrick Dale" in page.inner_text("body") and "/sheet" in page.url
    page.go_back()

    page.get_by_role("link", name="What you need").click()
    page.get_by_label("Budget", exact=True).fill("6000")
    page.get_by_role("button", name="Save and rank again").click()
    page.wait_for_selector("table.ranking", timeout=WAIT)
    assert "budget_total = 6000" in (desk.folder / "buyer.toml").read_text(encoding="utf-8")

    page.get_by_role("link", name="Add adverts").click()
    file = tmp_path / "dropped.txt"
    file.write_text(
        "2001 Marrick Dale, 2.4 diesel, £4,400, Leeds, 120k, MOT May, timing belt done 2023", encoding="utf-8"
    )
    page.set_input_files("#files", file)
    page.get_by_role("button", name="Read them").click()
    page.wait_for_selector("text=1 new", timeout=WAIT)


def test_a_page_of_another_site_can_neither_write_nor_look_in(opened: Running, browser: Any, tmp_path: Path) -> None:
    context = browser.new_context()
    context.set_default_timeout(WAIT)
    mine = context.new_page()
    mine.goto(opened.address)
    evil = tmp_path / "evil.html"
    evil.write_text(
        f'<form id="f" method="post" action="http://{opened.here}/add" enctype="multipart/form-data">'
        '<input name="text" value="gotcha £1"></form>'
        f'<img id="g" src="http://{opened.here}/icon.svg"><script>document.getElementById("f").submit()</script>',
        encoding="utf-8",
    )
    attack = context.new_page()
    attack.goto(evil.as_uri())
    attack.wait_for_url(f"http://{opened.here}/add")
    assert "may not" in attack.inner_text("body") or "somebody else" in attack.inner_text("body")
    assert not list(opened.folder.glob("inbox/pasted-*"))
    context.close()


@pytest.mark.parametrize("width", [320, 1280])
def test_it_is_accessible_and_nothing_runs_off_the_screen(desk: Running, browser: Any, width: int) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed")
    desk.finished(desk.get("/"))
    context = browser.new_context(viewport={"width": width, "height": 800}, bypass_csp=True)
    context.set_default_timeout(WAIT)
    page = context.new_page()
    page.goto(desk.address)
    for path in ("/", "/add", "/buyer", "/vehicle/1", "/vehicle/99"):
        page.goto(f"http://{desk.here}{path}")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        found = axe.Axe().run(page).response["violations"]
        assert [(v["id"], v["impact"]) for v in found if v["impact"] in ("serious", "critical")] == [], path
    context.close()
