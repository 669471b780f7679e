"""What leaves the search folder leaves sellers' telephone numbers, addresses and plates behind, unless asked."""

from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.search import start_search
from pipeline.store import open_store
from pipeline.types import Fact, Reading

DAY = date(2026, 10, 1)
TEXT = (
    "Marrick Dale van F228 OWY, £2,000. Ring 01632 960118 or 07700 900318, or write to mo@garage.example. 98,000 miles."
)
CONTACTS = ["01632 960118", "07700 900318", "mo@garage.example", "F228 OWY", "F228OWY"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    start_search(tmp_path / "s", home="Skipton")
    (tmp_path / "s" / "inbox" / "van-f228owy.txt").write_text(TEXT, encoding="utf-8")
    with open_store(tmp_path / "s") as store:
        add(store, gather([tmp_path / "s" / "inbox"]), DAY)
        plate = Fact("plate", "F228OWY", "F228 OWY", 17, 25, "r")
        store.keep_readings({1: Reading((plate, Fact("mileage", 98000, "98,000 miles", 0, 1, "r")), ())}, "v")
    return tmp_path / "s"


def exported(folder: Path, *options: str) -> str:
    done = CliRunner().invoke(app, ["export", str(folder / "out"), "--search", str(folder), *options])
    assert done.exit_code == 0, done.output
    return "\n".join(path.read_text(encoding="utf-8") for path in sorted((folder / "out").iterdir()))


@pytest.mark.parametrize("kind", ["csv", "jsonl"])
def test_contacts_are_dotted_out_unless_asked(folder: Path, kind: str) -> None:
    bare = exported(folder, "--as", kind)
    assert [word for word in CONTACTS if word.lower() in bare.lower()] == []
    assert "98,000 miles" in bare and "£2,000" in bare, "prices and mileages are no telephone numbers"
    assert f"{'•' * 4} {'•' * 3}" in bare, "dot for letter, so that offsets stay"
    whole = exported(folder, "--as", kind, "--contacts")
    assert all(word in whole for word in CONTACTS)


def test_parquet_too(folder: Path) -> None:
    import pandas as pd

    exported_to = folder / "out"
    CliRunner().invoke(app, ["export", str(exported_to), "--search", str(folder), "--as", "parquet"])
    (text,) = pd.read_parquet(exported_to / "snapshots.parquet")["text"]
    assert len(text) == len(TEXT) and "960118" not in text
