"""What an advert says of a vehicle's identity against itself."""

from datetime import date
from typing import Any

import pytest

from pipeline.paths import data_folder
from pipeline.ranking.identity import identity_checks, plate_years
from pipeline.schemas.decision import load_decision
from pipeline.schemas.registration import load_registration
from pipeline.types import Claim, Evidence

RULES = load_decision(data_folder("rules"))
MARKS = load_registration(data_folder("rules"))


def checks(mileage: float | None = 90_000, claims: tuple[Claim, ...] = (), **facts: Any) -> set[str]:
    evidence = Evidence("1", facts, claims, 28.0, mileage, date(2026, 10, 31))
    return set(identity_checks(evidence, MARKS, RULES.flags.identity))


def done(at_mileage: int | None = None, at_year: int | None = None) -> tuple[Claim, ...]:
    return (Claim("timing_belt", "done", "plain", "belt", 0, 4, "test", at_mileage, at_year),)


@pytest.mark.parametrize(
    "plate, years",
    [("R123ABC", (1997, 1998)), ("ABC123T", (1978, 1979)), ("AB51CDE", (2001, 2002)), ("AB02CDE", (2002, 2002)),
     ("AB52CDE", (2002, 2003)), ("ABC 1", ()), ("", ())],
)  # fmt: skip
def test_years_of_a_mark(plate: str, years: tuple[int, ...]) -> None:
    assert plate_years(plate, MARKS) == years


def test_a_plate_that_agrees_or_carries_no_age_raises_nothing() -> None:
    assert checks(plate="R123 ABC", year=[1998]) == set()
    assert checks(plate="R123 ABC", year=[1996, 1997]) == set()
    assert checks(plate="ABZ 1234", year=[1996]) == set()
    assert checks(year=[1996]) == checks(plate="R123 ABC") == set()


def test_a_plate_of_another_age() -> None:
    assert checks(plate="R123 ABC", year=[1992]) == {"plate_newer"}
    assert checks(plate="F123 ABC", year=[1997]) == {"plate_older"}


def test_a_chassis_number_of_the_wrong_form_but_never_its_check_digit() -> None:
    assert checks(vin="1M8GDM9AXKP042788", year=[1999]) == set()
    assert checks(vin="1M8GDM9A1KP042788", year=[1999]) == set()  # European numbers need no valid check digit
    assert checks(vin="1M8GDM9AXKP04278", year=[1999]) == {"vin_shape"}
    assert checks(vin="SHORT123", year=[1968]) == set()


def test_work_at_more_miles_than_the_clock_shows_or_before_it_was_built() -> None:
    assert checks(claims=done(at_mileage=91_000)) == set()
    assert checks(claims=done(at_mileage=120_000)) == {"work_after_mileage"}
    assert checks(claims=done(at_mileage=120_000), mileage_unit="km") == set()
    assert checks(claims=done(at_year=1990), year=[1998]) == {"work_before_year"}
