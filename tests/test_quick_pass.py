"""A very large search: a quick look decides which vehicles are worked out in full, and nothing is lost by it."""

import json
import random
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from selectolax.lexbor import LexborHTMLParser

from pipeline.digest import Changes, changes, digest, standing
from pipeline.ingest import gather
from pipeline.intake import add, quiet
from pipeline.notes.record import Given
from pipeline.notes.session import record
from pipeline.paths import data_folder
from pipeline.report import pages, passed_over_lines, table
from pipeline.report import passed as passed_pages
from pipeline.run import Result, bring_up_to_date
from pipeline.search import Search, open_search, start_search
from pipeline.store import open_store
from pipeline.types import VehicleView

DAY = date(2026, 10, 14)
SAMPLE, BEST, COUNT = 60, 12, 150
GOOD = (
    "Sills replaced 2023 with photographs.", "Belt and pump done at {k}k with the bill.", "Full service history.",
    "No rust on the chassis legs.", "Starts first time, no smoke, no leaks.", "Clutch new last year.",
)  # fmt: skip
BAD = (
    "Sills are rotten.", "Clutch slips.", "Blows blue smoke.", "Gearbox crunches into second.", "Roof leaks.",
    "Oil leak from the engine.", "Rust holes in the arches.",
)  # fmt: skip


def adverts() -> Iterator[tuple[str, str]]:
    """Vehicles of the same kind, good and bad in all mixtures, at prices that hardly know it."""
    rng = random.Random(11)
    for n in range(COUNT):
        good, bad = rng.sample(GOOD, rng.randrange(5)), rng.sample(BAD, rng.randrange(4))
        year, miles, price = rng.randrange(1989, 2003), rng.randrange(60, 190), rng.randrange(24, 78) * 100
        said = rng.sample([*good, *bad], len(good) + len(bad))
        head = f"Harrow Tern camper {year}, 2.4 diesel, manual, {miles},{rng.randrange(100, 999)} miles."
        yield f"van{n}", f"{head} {' '.join(said).format(k=miles - 9)} MOT May 2027. £{price:,}. Hexham. Lot x{n}q."
    yield "scam", "Harrow Tern camper 1999, 81,000 miles, £900. Pay a deposit by bank transfer first, no viewings."
    yield "silent", "Harrow Tern camper 1996, diesel, manual, 90,000 miles, no rust anywhere, MOT June 2027."
    yield "dear", "Harrow Tern camper 1998, diesel, manual, 70,000 miles, full history, MOT June 2027. £28,000 firm."


@dataclass
class Large:
    search: Search
    rules: Path
    whole: Result
    quick: Result


def run(search: Search, rules: Path, **asked: object) -> Result:
    with open_store(search.folder) as store:
        return bring_up_to_date(store, search, rules=rules, **asked)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> Large:
    folder = tmp_path_factory.mktemp("large")
    start_search(folder / "search", home="Skipton", budget=6000)
    search = open_search(folder / "search")
    search = Search(folder / "search", replace(search.buyer, as_of=DAY))
    for name, text in adverts():
        (search.inbox / f"{name}.txt").write_text(text, encoding="utf-8")
    with open_store(search.folder) as store:
        add(store, gather([search.inbox]), DAY)
    whole = run(search, data_folder("rules"))
    rules = folder / "rules"
    shutil.copytree(data_folder("rules"), rules)
    path = rules / "decision" / "decision.yaml"
    said = path.read_text(encoding="utf-8")
    for name, number in (("above", 100), ("sample", SAMPLE), ("best", BEST)):
        said, times = re.subn(rf"(?m)^  {name}: \d+", f"  {name}: {number}", said)
        assert times == 1
    path.write_text(said, encoding="utf-8")
    shutil.rmtree(search.folder / "cache")
    return Large(search, rules, whole, run(search, rules))


def source(view: VehicleView) -> str:
    return view.texts[0].source


def test_every_vehicle_is_worked_out_or_passed_over(given: Large) -> None:
    view = given.quick.view
    full, passed = {v.ref for v in view.vehicles}, {one.ref for one in view.passed_over}
    assert not full & passed
    assert full | passed == {v.ref for v in given.whole.view.vehicles}
    assert len(full) == SAMPLE + BEST
    assert view.counts["passed over"] == len(passed) and given.quick.record.counts["costs worked out"] == len(full)
    assert not given.whole.view.passed_over, "a search of ordinary size passes nothing over"


def test_the_best_are_among_those_worked_out(given: Large) -> None:
    worth = {v.ref: v.ranked.visit_worth or -1e9 for v in given.whole.view.vehicles if v.ranked.verdict != "leave"}
    best = sorted(worth, key=lambda ref: -worth[ref])[:10]
    full = [v.ref for v in given.quick.view.vehicles]
    assert len(set(best) & set(full)) >= 9
    assert len(full) < len(given.whole.view.vehicles) / 2, "or the test would say little"


def test_what_is_worked_out_costs_the_same_bit_for_bit(given: Large) -> None:
    whole = {v.ref: v.prospect.repair for v in given.whole.view.vehicles}
    for view in given.quick.view.vehicles:
        assert np.array_equal(view.prospect.repair.samples, whole[view.ref].samples)
        assert tuple(view.prospect.repair.items) == tuple(whole[view.ref].items)
    values = {v.ref: v.prospect.valuation.p50 for v in given.whole.view.vehicles}
    gaps = [abs(v.prospect.valuation.p50 / values[v.ref] - 1) for v in given.quick.view.vehicles if values[v.ref]]
    assert np.median(gaps) < 0.05, "values come from the sample's prices in place of all"


def test_the_quick_look_knows_cheap_from_dear_repairs(given: Large) -> None:
    passed = {one.ref: one for one in given.quick.view.passed_over if one.worth is not None}
    pairs = [
        (
            passed[v.ref].worth,
            (v.prospect.valuation.p50 or 0) - float(v.prospect.repair.samples.mean()),
        )
        for v in given.whole.view.vehicles
        if v.ref in passed
    ]
    assert len(pairs) > 50
    assert np.corrcoef(np.array(pairs).T)[0, 1] > 0.8


def test_why_each_was_passed_over(given: Large) -> None:
    why = {one.adverts[0][1]: one.why for one in given.quick.view.passed_over}
    full = {source(v) for v in given.quick.view.vehicles}
    expected = {"silent.txt": "no price", "dear.txt": "beyond your budget"}
    assert set(expected) & set(why), "chance took them all into the sample"
    for name, words in expected.items():
        assert name in full or words in why[name]
    assert "scam.txt" in full or why["scam.txt"] not in ("", "others look better at a quick look")
    assert {"others look better at a quick look"} <= set(why.values())


def test_the_next_run_works_nothing_out_again_and_says_the_same(given: Large) -> None:
    again = run(given.search, given.rules)
    assert again.record.counts["costs worked out"] == again.read_now == 0
    assert [v.ranked for v in again.view.vehicles] == [v.ranked for v in given.quick.view.vehicles]
    assert again.view.passed_over == given.quick.view.passed_over


def test_what_is_asked_for_or_noted_is_worked_out(given: Large, tmp_path: Path) -> None:
    one, other, third = (
        given.quick.view.passed_over[-1],
        given.quick.view.passed_over[-2],
        given.quick.view.passed_over[0],
    )
    asked = run(given.search, given.rules, remember=False, asked=[one.ref, other.adverts[0][1]])
    assert {one.ref, other.ref} <= {v.ref for v in asked.view.vehicles}
    shutil.copytree(given.search.folder, tmp_path / "search")
    search = Search(tmp_path / "search", given.search.buyer)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipeline.run.data_folder", lambda name: given.rules)
        with open_store(search.folder) as store:
            noted = record(
                store, search, third.ref, Given(text="Rang: the sills were done in 2021.", learnt="call"), quiet
            )
    assert noted.ref == third.ref and third.ref in {v.ref for v in noted.view.vehicles}
    assert third.ref in {v.ref for v in run(search, given.rules).view.vehicles}, "and so from then on"


def test_all_are_kept_with_the_ranking(given: Large) -> None:
    with open_store(given.search.folder) as store:
        rows = store.rows()
        last = store.rows(given.quick.view.passed_over[0].ref)[0]
    view = given.quick.view
    assert [row.ref for row in rows] == [v.ref for v in view.vehicles] + [one.ref for one in view.passed_over]
    assert {row.verdict for row in rows[len(view.vehicles) :]} == {"leave"}
    kept = json.loads(last.result)
    assert kept["passed_over"] == view.passed_over[0].why and kept["ref"] == last.ref
    assert last.lines.split("\n") == passed_over_lines(view.passed_over[0], "GBP")


def test_the_pages_list_all(given: Large, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passed_pages, "PER_PAGE", 50)
    view = given.quick.view
    made = pages(view)
    names = [name for name in made if "passed" in name]
    assert names == [f"ranking-passed-{n + 1}.html" for n in range(-(-len(view.passed_over) // 50))] and len(names) > 1
    numbers, links = [], []
    for name in names:
        tree = LexborHTMLParser(made[name])
        numbers += [node.text() for node in tree.css("tbody td.n")]
        links.append([node.attributes["href"] for node in tree.css("nav a")])
    assert numbers == [one.ref for one in view.passed_over]
    assert links[0] == ["ranking.html", names[1]] and links[-1] == ["ranking.html", names[-2]]
    first = LexborHTMLParser(made["ranking.html"])
    assert f"{len(view.passed_over)} passed over at a quick look" in first.css_first("p.answer").text()
    assert [a.attributes["href"] for a in first.css("p a") if "passed" in (a.attributes["href"] or "")] == [names[0]]
    assert f"{len(view.passed_over)} more were passed over" in table(view, 100)
    assert f"{len(view.passed_over)} more were passed over" in digest(view, Changes(), (), "page", True)


def test_an_advert_cannot_bring_markup_into_the_list(given: Large) -> None:
    hostile = replace(given.quick.view.passed_over[0], title="<script>alert(1)</script> & <b>")
    html = pages(replace(given.quick.view, passed_over=(hostile,)))["ranking-passed-1.html"]
    assert "<script>alert" not in html and "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &lt;b&gt;" in html


def test_what_is_passed_over_tonight_is_not_told_as_gone_nor_as_new_after(given: Large) -> None:
    whole, quick = (standing(one.view, {}) for one in (given.whole, given.quick))
    there = changes(whole, quick, "GBP")
    assert there.gone == ()
    back = changes(quick, whole, "GBP")
    assert back.new == ()
    assert changes({**quick, "passed over": []}, whole, "GBP").new, "it is by what was passed over that it knows"


def test_a_digest_stays_a_mail(given: Large) -> None:
    told = Changes(new=tuple(f"van {n}" for n in range(250)))
    words = digest(given.quick.view, told, (), "page", False)
    assert "- van 99\n- and 150 more\n" in words and "van 100" not in words
    assert "more" not in digest(given.whole.view, Changes(new=("a van",)), (), "page", False)


def test_one_advert_more_is_one_reading_and_hardly_a_cost(given: Large, tmp_path: Path) -> None:
    shutil.copytree(given.search.folder, tmp_path / "search")
    search = Search(tmp_path / "search", given.search.buyer)
    bargain = (
        "Harrow Tern camper 2001, 2.4 diesel, manual, 64,000 miles. Full service history. No rust on the chassis legs. "
        "Sills replaced 2023 with photographs. Belt and pump done at 60k with the bill. MOT May 2027. £2,400. Hexham."
    )
    (search.inbox / "late.txt").write_text(bargain, encoding="utf-8")
    with open_store(search.folder) as store:
        add(store, gather([search.inbox / "late.txt"]), DAY)
    after = run(search, given.rules)
    assert after.read_now == 1
    assert 1 <= after.record.counts["costs worked out"] <= 4  # it, and what it moves into the sample or over the edge
    assert "late.txt" in {source(v) for v in after.view.vehicles}, "the best of all is worked out"
