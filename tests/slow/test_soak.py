"""Two hundred nights of one search: adverts come, change and go, stages crash, the rules are upgraded once.

The database grows with what came in, not with the nights, and at the end the ranking is that of a new search folder
into which all the files were put at once.
"""

import json
import random
import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from pipeline import night
from pipeline.errors import StageError
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.output import as_json
from pipeline.paths import data_folder
from pipeline.run import bring_up_to_date
from pipeline.search import open_search, start_search
from pipeline.store import open_store

pytestmark = pytest.mark.slow

NIGHTS, UPGRADE = 200, 120
FIRST = date(2026, 3, 2)
QUIET = range(150, 200)  # nights on which nothing comes in
CRASHES = (
    "pipeline.intake.add",
    "pipeline.run.bring_up_to_date",
    "pipeline.report.pages",
    "pipeline.output.write_files",
)
WORDS = (
    "Marrick Dale camper of {year}, 2.4 diesel, manual, {miles},000 miles. {extra} MOT to May 2027. £{price}.",
    "{year} diesel camper, {miles}k on the clock, five-speed. {extra} No silly offers, £{price} ono.",
    "For sale: my {year} Marrick, {miles},000 genuine miles, tested till April 2027. {extra} £{price} or near offer.",
)
EXTRAS = ("New clutch 2025.", "Sills need welding.", "No rust underneath.", "Slight oil leak.", "Full history.", "")


class Market:
    """What stands in the inbox, night by night: seeded, so that the same comes at every run of the test."""

    def __init__(self) -> None:
        self.rng = random.Random(200)
        self.stands: dict[str, dict[str, Any]] = {}
        self.came: list[tuple[int, str, str]] = []  # night, file, text

    def tonight(self, number: int) -> dict[str, str]:
        """New and changed files."""
        files: dict[str, str] = {}
        if number in QUIET:
            return files
        if len(self.stands) < 12 and self.rng.random() < 0.35:
            name = f"advert-{len(self.came):03}.txt"
            self.stands[name] = {
                "form": self.rng.choice(WORDS),
                "year": self.rng.randint(1988, 2003),
                "miles": self.rng.randint(60, 190),
                "extra": self.rng.choice(EXTRAS),
                "price": self.rng.randint(18, 70) * 100,
            }
            files[name] = self._text(name)
        for name, told in list(self.stands.items()):
            if self.rng.random() < 0.02:
                told["price"] -= 150
                files[name] = self._text(name)
            elif self.rng.random() < 0.02:
                del self.stands[name]
        self.came += [(number, name, text) for name, text in files.items()]
        return files

    def _text(self, name: str) -> str:
        told = dict(self.stands[name])
        return str(told.pop("form")).format(**told)


def set_day(folder: Path, day: date) -> None:
    text = (folder / "buyer.toml").read_text(encoding="utf-8").split("\n[as_of]")[0]
    (folder / "buyer.toml").write_text(f'{text}\n[as_of]\ndate = "{day}"\n', encoding="utf-8")


def test_two_hundred_nights(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(data_folder("rules"), rules)
    for module in ("pipeline.run", "pipeline.shown", "pipeline.keys", "pipeline.vehicles"):
        _point(monkeypatch, module, rules)
    folder = tmp_path / "search"
    start_search(folder, home="Skipton", budget=7000, guide_price=4500)
    market, crash = Market(), random.Random(7)
    sizes: dict[int, int] = {}
    crashed = 0
    for number in range(NIGHTS):
        set_day(folder, FIRST + timedelta(days=min(number, QUIET.start)))
        for name, text in market.tonight(number).items():
            (folder / "inbox" / name).write_text(text, encoding="utf-8")
        if number == UPGRADE:
            path = rules / "money" / "money.yaml"
            path.write_text(path.read_text(encoding="utf-8").replace("parts_times: 1.0", "parts_times: 1.2"), "utf-8")
        if crash.random() < 0.1:
            crashed += 1
            with monkeypatch.context() as broken:
                broken.setattr(crash.choice(CRASHES), _falls_over)
                night.plain_night(folder, 0)
        else:
            assert night.plain_night(folder, 0).error == ""
        sizes[number] = (folder / "viewworthy.duckdb").stat().st_size
    assert crashed > 10
    assert night.plain_night(folder, 0).error == ""

    # Nothing came in during the quiet nights: what the database grew by then is a run's record a night at most.
    assert sizes[NIGHTS - 1] <= sizes[QUIET.start + 1] + 2 * 262_144, sizes
    assert len(list((folder / "cache").glob("*.npz"))) <= len(market.came)

    fresh = tmp_path / "fresh" / "search"
    fresh.parent.mkdir()
    start_search(fresh, home="Skipton", budget=7000, guide_price=4500)
    set_day(fresh, FIRST + timedelta(days=QUIET.start))
    for number, name, text in market.came:
        (fresh / "inbox" / name).write_text(text, encoding="utf-8")
        with open_store(fresh) as store:
            add(store, gather([fresh / "inbox"]), FIRST + timedelta(days=number))
    assert ranking(fresh) == ranking(folder)


def ranking(folder: Path) -> str:
    """All that a run says of every vehicle but its number, for adverts come in another order after a crash."""
    with open_store(folder) as store:
        views = bring_up_to_date(store, open_search(folder), remember=False).view.vehicles
    rows = [{**as_json(view), "ref": ""} for view in views]
    return json.dumps(rows, indent=1)


def _falls_over(*_: Any, **__: Any) -> None:
    raise StageError("crashed")


def _point(monkeypatch: pytest.MonkeyPatch, module: str, rules: Path) -> None:
    def folder(name: str, real: Callable[[str], Path] = data_folder) -> Path:
        return rules if name == "rules" else real(name)

    monkeypatch.setattr(f"{module}.data_folder", folder)
