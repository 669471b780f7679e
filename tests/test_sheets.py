"""`viewworthy sheet`: one vehicle's sheets from the command line."""

from pathlib import Path

from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.search import open_search, start_search
from pipeline.store import open_store

ADVERT = "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles. Belt unknown. Sills a bit crusty. £3,900 Hexham"


def test_sheet_is_written_where_told_and_by_default_into_reports(tmp_path: Path) -> None:
    start_search(tmp_path / "s", home="Skipton", guide_price=5000, packs=("light-camper-van",))
    search = open_search(tmp_path / "s")
    (search.inbox / "dale.txt").write_text(ADVERT, encoding="utf-8")
    with open_store(search.folder) as store:
        add(store, list(gather([search.inbox])), search.as_of)
    run = CliRunner()
    done = run.invoke(app, ["sheet", "dale", "--search", str(search.folder)])
    assert done.exit_code == 0, done.output
    (path,) = search.reports.glob("sheet-*.html")
    html = path.read_text(encoding="utf-8")
    for told in ("Sills a bit crusty", "The living part", "Papers first", "Never go under", "timing belt"):
        assert told in html
    given = run.invoke(app, ["sheet", "dale", "--search", str(search.folder), "--out", str(tmp_path / "mine.html")])
    assert given.exit_code == 0
    assert (tmp_path / "mine.html").read_text(encoding="utf-8") == html
    missing = run.invoke(app, ["sheet", "no such van", "--search", str(search.folder)])
    assert missing.exit_code != 0
