"""What a run works out again after each kind of change, and that the result equals a run from scratch."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.output import as_json
from pipeline.paths import data_folder
from pipeline.report import vehicle_lines
from pipeline.run import Result, bring_up_to_date, unchanged
from pipeline.search import Search, open_search, start_search
from pipeline.store import open_store

ADVERTS = {
    "a": "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles, MOT to June 2027. £4,200 ono. Hexham.",
    "b": "1997 Marrick Dale camper, 2.4 diesel, manual, 131,000 miles. Sills rotten. Test till March. £5,100. Stroud.",
    "c": "Diesel camper of 1992 in Skipton, 2.1, five-speed, 143k, new clutch 2024, tested to May 2027, £2,950.",
    "d": "Marrick Dale, P reg 1996, 88,000 with full history, no rust anywhere, no test. Sensible offers near £6,000.",
}
NEW = "1999 Marrick Dale, automatic, 75,000 miles, one owner, MOT Nov 2026, slight oil leak, £7,400. Kendal."


class Pool:
    """A search folder whose every state can be built again from nothing."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.rules = folder / "rules"
        shutil.copytree(data_folder("rules"), self.rules)
        self.files: list[tuple[str, str]] = []
        start_search(folder / "search", home="Skipton", budget=7000, guide_price=5500)
        buyer = open_search(folder / "search").buyer
        self.search = Search(folder / "search", replace(buyer, as_of=date(2026, 10, 14)))

    def save(self, name: str, text: str) -> None:
        self.files.append((name, text))
        self._add(self.search, name, text)

    def _add(self, search: Search, name: str, text: str) -> None:
        (search.inbox / f"{name}.txt").write_text(text, encoding="utf-8")
        with open_store(search.folder) as store:
            add(store, list(gather([search.inbox / f"{name}.txt"])), date(2026, 10, 14))

    def run(self) -> Result:
        with open_store(self.search.folder) as store:
            return bring_up_to_date(store, self.search, rules=self.rules)

    def from_scratch(self) -> Result:
        """The same files into a new folder, one run."""
        folder = self.folder / "scratch"
        shutil.rmtree(folder, ignore_errors=True)
        start_search(folder, home="Skipton")
        search = Search(folder, replace(self.search.buyer, search_name="search"))
        for name, text in self.files:
            self._add(search, name, text)
        with open_store(folder) as store:
            return bring_up_to_date(store, search, rules=self.rules)

    def edit(self, path: str, old: str, new: str) -> None:
        text = (self.rules / path).read_text(encoding="utf-8")
        assert old in text, f"{path} no longer says {old!r}"
        (self.rules / path).write_text(text.replace(old, new, 1), encoding="utf-8")

    def buyer(self, **terms: object) -> None:
        self.search = Search(self.search.folder, replace(self.search.buyer, **terms))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def pool(tmp_path_factory: pytest.TempPathFactory) -> Pool:
    made = Pool(tmp_path_factory.mktemp("pool"))
    for name, text in ADVERTS.items():
        made.save(name, text)
    result = made.run()
    assert (result.record.counts["read now"], result.record.counts["costs worked out"]) == (4, 4)
    return made


def told(result: Result) -> str:
    """All that is shown of every vehicle, best first."""
    return json.dumps([[as_json(view), vehicle_lines(view)] for view in result.view.vehicles], indent=1)


# Each change, how many adverts are read and how many costs are worked out.
CHANGES: dict[str, tuple[Callable[[Pool], None], int, int]] = {
    "nothing": (lambda pool: None, 0, 0),
    "one new advert": (lambda pool: pool.save("e", NEW), 1, 1),
    "a lower price": (lambda pool: pool.save("b", ADVERTS["b"].replace("5,100", "4,700")), 1, 1),
    "the same file again": (lambda pool: pool.save("a", ADVERTS["a"]), 0, 0),
    "the buyer moved": (lambda pool: pool.buyer(home="Stroud"), 0, 0),
    "a dearer garage": (lambda pool: pool.buyer(labour_rate=95.0), 0, 5),
    "the next day": (lambda pool: pool.buyer(as_of=date(2026, 10, 15)), 0, 0),
    "the next month": (lambda pool: pool.buyer(as_of=date(2026, 11, 15)), 0, 5),
    "a rule of reading": (lambda pool: pool.edit("scope/hedge.yaml", "\n", "\n# changed by hand\n"), 6, 0),
    "a rule of costing": (lambda pool: pool.edit("money/money.yaml", "parts_times: 1.0", "parts_times: 1.3"), 0, 5),
    "a rule of value": (
        lambda pool: pool.edit("value/general.yaml", "noise.sd, value: 0.13", "noise.sd, value: 0.2"),
        0,
        0,
    ),
    "a rule of the decision": (
        lambda pool: pool.edit("decision/decision.yaml", "found_off: 0.5", "found_off: 0.6"),
        0,
        0,
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_only_what_a_change_can_touch_is_worked_out_again(pool: Pool, change: str) -> None:
    make, read, costed = CHANGES[change]
    make(pool)
    result = pool.run()
    counts = result.record.counts
    assert (counts["read now"], counts["costs worked out"]) == (read, costed)
    assert told(result) == told(pool.from_scratch())


def test_a_run_knows_that_nothing_changed(pool: Pool) -> None:
    pool.run()
    with open_store(pool.search.folder) as store:
        assert unchanged(store, pool.search, pool.rules)
        other = Search(pool.search.folder, replace(pool.search.buyer, as_of=date(2026, 12, 1)))
        assert not unchanged(store, other, pool.rules)
    pool.edit("decision/questions.yaml", "\n", "\n# and this\n")
    with open_store(pool.search.folder) as store:
        assert not unchanged(store, pool.search, pool.rules)
    pool.run()
    pool.save("f", NEW.replace("Kendal", "Settle"))
    with open_store(pool.search.folder) as store:
        assert not unchanged(store, pool.search, pool.rules)


def test_kept_costs_that_were_torn_are_worked_out_again(pool: Pool) -> None:
    before = told(pool.run())
    files = sorted((pool.search.folder / "cache").glob("*.npz"))
    files[0].write_bytes(files[0].read_bytes()[:1000])
    files[1].write_bytes(b"")
    again = pool.run()
    assert again.record.counts["costs worked out"] == 2
    assert told(again) == before
    shutil.rmtree(pool.search.folder / "cache")
    assert told(pool.run()) == before


def test_costs_of_vehicles_that_went_are_not_kept(pool: Pool) -> None:
    (pool.search.folder / "cache" / ("0" * 32 + ".npz")).write_bytes(b"old")
    result = pool.run()
    assert len(list((pool.search.folder / "cache").iterdir())) == len(result.view.vehicles)
