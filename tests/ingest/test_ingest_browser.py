"""The demo's invented pages as Chromium saves them: single-file page, printed page, complete page with its folder."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from saved import read

from pipeline.ingest import gather, read_source
from pipeline.paths import data_folder
from pipeline.types import Advert, SourceFile

pytestmark = pytest.mark.browser
# page -> words of the advert's own, words of menus, notices and other adverts
PAGES = {
    "byway-bolton-2001": (
        ["£5,650", "143,000", "chain and tensioner were done at 126k", "priced for the miles"],
        ["£8,250", "£6,895", "£6,995", "Spares or repair", "You looked at"],
    ),
    "hedgerow-curlew-hexham": (
        ["£6,350", "81,000 miles", "run sealant round it", "Downsizing to a tent!"],
        ["We use cookies to keep"],
    ),
    "parish-board-whitby": (
        ["£4,900", "72000", "laid it up in the boathouse", "Tyres hold air"],
        ["one cookie for 30"],
    ),
}


@pytest.fixture(scope="module")
def saved(browser: Any) -> Iterator[dict[tuple[str, str], bytes]]:
    found: dict[tuple[str, str], bytes] = {}
    for name in PAGES:
        context = browser.new_context(offline=True)
        page = context.new_page()
        page.goto((data_folder("data_demo") / "inbox" / f"{name}.html").as_uri())
        found[name, "pdf"] = page.pdf(display_header_footer=True, margin={"top": "2cm", "bottom": "2cm"})
        snapshot = context.new_cdp_session(page).send("Page.captureSnapshot", {"format": "mhtml"})
        found[name, "mhtml"] = snapshot["data"].encode()
        found[name, "html"] = page.content().encode()
        context.close()
    yield found


def one(name: str, data: bytes) -> Advert:
    result = read(name, data)
    assert result.refusals == ()
    (advert,) = result.adverts
    return advert


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("kind", ["html", "mhtml", "pdf"])
def test_the_adverts_own_words_stay_and_the_rest_goes(
    saved: dict[tuple[str, str], bytes], page: str, kind: str
) -> None:
    advert = one(f"{page}.{kind}", saved[page, kind])
    own, rest = PAGES[page]
    flowing = " ".join(advert.text.split())
    assert [words for words in own if words not in flowing] == []
    assert [words for words in rest if words in flowing] == []


@pytest.mark.parametrize("page", PAGES)
def test_a_page_and_its_single_file_are_one_advert(saved: dict[tuple[str, str], bytes], page: str) -> None:
    html = one(f"{page}.html", (data_folder("data_demo") / "inbox" / f"{page}.html").read_bytes())
    mhtml = one(f"{page}.mhtml", saved[page, "mhtml"])
    assert html.advert_id == mhtml.advert_id and html.advert_id.startswith("http")
    assert html.text == mhtml.text
    assert mhtml.saved_on is not None, "the browser writes the day into a single-file page"


def test_a_printed_page_keeps_no_line_of_the_browsers_own(saved: dict[tuple[str, str], bytes]) -> None:
    text = one("p.pdf", saved["parish-board-whitby", "pdf"]).text
    assert "file:///" not in text and "1/1" not in text


def test_the_folder_beside_a_complete_page_is_left_out(saved: dict[tuple[str, str], bytes], tmp_path: Path) -> None:
    (tmp_path / "van_files").mkdir()
    (tmp_path / "van.html").write_bytes(saved["byway-bolton-2001", "html"])
    (tmp_path / "van_files" / "saved_resource.html").write_text("<html><body>another advert: £1</body></html>")
    (tmp_path / "van_files" / "x.js").write_text("1")
    found = list(gather([tmp_path]))
    assert [f.name for f in found] == ["van.html"]
    assert isinstance(found[0], SourceFile) and len(read_source(found[0]).adverts) == 1
