"""`viewworthy plan`: the demonstration's day, appointments, places the buyer must settle, and wrong use."""

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from pipeline.cli import app
from pipeline.errors import ViewworthyError
from pipeline.outing import appointment, clock_hours, outings_json, outings_lines, planned
from pipeline.places import PlaceError
from pipeline.run import bring_up_to_date
from pipeline.search import open_search
from pipeline.store import open_store
from pipeline.types import ReportView


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def brought(folder: Path) -> ReportView:
    with open_store(folder) as store:
        return bring_up_to_date(store, open_search(folder), remember=False).view


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("plan") / "search"
    assert run("demo", "--into", target, "--json").exit_code == 0
    return target


@pytest.fixture(scope="module")
def view(folder: Path) -> ReportView:
    return brought(folder)


def plan(view: ReportView, *refs: str, **wishes: Any) -> dict[str, Any]:
    return outings_json(planned(lambda: view, refs, **wishes))


def minutes(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


def test_the_demonstrations_day(folder: Path) -> None:
    result = run("plan", "--search", folder, "--json")
    assert result.exit_code == 0, result.exception
    found = json.loads(result.stdout)
    (day,) = found["days"]
    assert found["gain"] > 0 and found["gain_over_index_order"] >= 0
    assert minutes("08:30") <= minutes(day["leave"]) < minutes(day["back"]) <= minutes("18:30")
    times = [minutes(viewing["begins"]) for viewing in day["viewings"]]
    assert len(times) >= 2 and all(b - a >= 90 for a, b in pairwise(times))
    assert {viewing["ref"] for viewing in day["viewings"]} <= set(found["considered"])


def test_the_plan_in_words(view: ReportView) -> None:
    lines = outings_lines(planned(lambda: view))
    assert lines[0] == "leave Skipton at 08:30"
    assert any("back at" in line for line in lines) and any("better off than going without" in line for line in lines)


def test_an_appointment_is_kept(view: ReportView) -> None:
    ref = plan(view)["days"][0]["viewings"][0]["ref"]
    (day,) = plan(view, at=[f"{ref}=13:00"], hours=10)["days"]
    begins = {viewing["ref"]: viewing["begins"] for viewing in day["viewings"]}
    assert begins[ref] == "13:00" and minutes(day["back"]) <= minutes("18:30")


def test_few_named_vehicles_are_weighed_in_full_and_two_days_are_no_worse(view: ReportView) -> None:
    refs = plan(view)["considered"][:5]
    one, two = plan(view, *refs), plan(view, *refs, days=2)
    assert one["every_plan_weighed"] and set(one["considered"]) == set(refs)
    assert two["gain"] >= one["gain"] - 0.01
    if len(two["days"]) == 2:
        assert two["stop_at"] is not None


def test_places_that_are_unknown_or_several_are_asked_for(tmp_path: Path) -> None:
    search = tmp_path / "vans"
    start = run("start", search, "--home", "Skipton", "--guide-price", 6000, "--budget", 9000)
    assert start.exit_code == 0
    text = (
        "1996 camper van, 2.4 diesel manual, {miles} miles, one owner, full service history, test to June 2027, sills "
        "and chassis sound and never welded, timing belt done last year. £{price}."
    )
    rows = [
        {"id": "a", "text": text.format(miles="81,000", price="3,900"), "place": "Nowhereby", "distance_miles": 20},
        {"id": "b", "text": text.format(miles="92,500", price="3,700"), "place": "Newport", "price": 3700},
        {"id": "c", "text": text.format(miles="99,000", price="3,500"), "place": "Ilkley"},
    ]
    path = tmp_path / "three.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    assert run("add", path, "--search", search).exit_code == 0
    refs = {"a": "1", "b": "2", "c": "3"}
    view = brought(search)
    asked = plan(view, *refs.values())["asks"]
    assert "Nowhereby" in asked[refs["a"]] and "Newport" in asked[refs["b"]] and refs["c"] not in asked
    said = plan(view, *refs.values(), place=["1=Keighley", "2=53.8, -1.9"])
    assert said["asks"] == {} and len(said["considered"]) == 3
    questions: list[str] = []

    def ask(words: str) -> str:
        questions.append(words)
        return "Keighley"

    assert outings_json(planned(lambda: view, list(refs.values()), ask=ask))["asks"] == {}
    assert len(questions) == 2 and "Nowhereby" in questions[0]


def test_wrong_use_is_said_in_one_line(folder: Path) -> None:
    wrong = [
        ("--at", "nonsense"),
        ("--at", "4=25:00"),
        ("--at", "4=12:00-11:00"),
        ("--at", "4=2/10:00"),
        ("--leave", "noon"),
        ("--place", "4"),
        ("9999",),
    ]
    for words in wrong:
        error = run("plan", *words, "--search", folder).exception
        assert isinstance(error, ViewworthyError) and "\n" not in str(error), words


def test_a_home_that_cannot_be_found_is_asked_for(view: ReportView) -> None:
    lost = replace(view, buyer=replace(view.buyer, home="Nowhereby"))
    with pytest.raises(PlaceError, match="Nowhereby"):
        plan(lost)


def test_times() -> None:
    assert clock_hours("08:30") == 8.5
    window = appointment("2/10:30-12:00")
    assert (window.day, window.earliest, window.latest) == (1, 10.5, 12.0)
