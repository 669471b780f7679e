"""The rules against published figures, which were in view when wipers, lamps and structure were set."""

import pytest

from pipeline.paths import data_folder
from pipeline.schemas.evidence import Speaks
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.knowledge_checks import fault_order
from pipeline.schemas.knowledge_parts import Fault, Knowledge

RULES = data_folder("rules")
# Share of tests of cars with a defect, initial failure, Great Britain, Q2 2019-20 (government statistics).
DEFECTS = {
    "lamps": 13.9,
    "suspension": 9.7,
    "brakes": 8.1,
    "tyres": 6.8,
    "visibility": 5.3,
    "structure": 4.3,
    "emissions": 3.6,
    "steering": 2.0,
}
AGE, MILES = 9.0, 65_000.0  # a car of middling age at its test


@pytest.fixture(scope="module")
def cars() -> Knowledge:
    return load_knowledge(["monocoque-car"], RULES)


def wear(fault: Fault, age: float, miles: float) -> tuple[float, float]:
    """P(minor), P(major) of wear alone at average care, by the formula that the schema states."""
    sound, not_major = 1 - sum(fault.wear.leak), 1 - fault.wear.leak[1]
    for life, since in ((fault.wear.years, age), (fault.wear.miles, miles)):
        if life is not None:
            sound *= 2.718281828459045 ** -((life.exposure(since) / life.life) ** life.shape)
            not_major *= 2.718281828459045 ** -(
                (life.exposure(since) / life.life / fault.wear.major_ratio) ** life.shape
            )
    return not_major - sound, 1 - not_major


def prevalence(knowledge: Knowledge, age: float, miles: float) -> dict[str, tuple[float, float]]:
    """P(minor), P(major) of each fault, causes counted (parents taken as independent: close enough here)."""
    found: dict[str, tuple[float, float]] = {}
    for key in fault_order(knowledge):
        fault = knowledge.faults[key]
        minor, major = wear(fault, age, miles)
        sound, not_major = 1 - minor - major, 1 - major
        for cause in fault.causes:
            parent = found[cause.fault][0 if cause.when == "minor" else 1]
            sound *= 1 - parent * (cause.minor + cause.major)
            not_major *= 1 - parent * cause.major
        found[key] = (not_major - sound, 1 - not_major)
    return found


def test_what_fails_a_test_is_near_the_published_shares(cars: Knowledge) -> None:
    found = prevalence(cars, AGE, MILES)
    for area, published in DEFECTS.items():
        passes = 1.0
        for key, fault in cars.faults.items():
            applies = fault.applies.chance(cars.traits) if fault.applies.all or fault.applies.any else 1.0
            if fault.test_area == area and fault.fails_test != "never":
                minor, major = found[key]
                passes *= 1 - applies * (major + (minor if fault.fails_test == "any" else 0.0))
        ours = 100 * (1 - passes)
        assert published / 2.5 < ours < published * 2.5, f"{area}: rules {ours:.1f} %, published {published} %"


def test_older_and_further_is_never_sounder(cars: Knowledge) -> None:
    young, old = prevalence(cars, 6, 40_000), prevalence(cars, 30, 160_000)
    for key, (minor, major) in old.items():
        assert minor + major >= sum(young[key]) - 1e-12, key
        assert major >= young[key][1] - 1e-12, key


def test_labour_rates_span_the_published_ones(cars: Knowledge) -> None:
    uk = cars.regions["uk"]
    # £47.47 an hour in 2020 over 3,338 independent garages; £76 in 2023, range 47-141 (secondary pages).
    assert uk.labour.low <= 47.47 * cars.money.level("GBP", 2020, 2026) <= uk.labour.high
    assert uk.labour.low <= 76 <= uk.labour.high


def test_travel_rates_are_the_published_ones(cars: Knowledge) -> None:
    assert cars.regions["uk"].travel.value == 0.45
    assert cars.regions["north-america"].travel.value == 0.725
    ireland = cars.regions["ireland"]
    assert ireland.travel_per_mile == pytest.approx(ireland.travel.value * 1.609344)


@pytest.mark.parametrize(
    ("job", "low", "high"),
    [  # flat-rate hours, secondary pages: belt on 4x4s 3.2-3.8; clutch 4-6 or 6-9; crossmember 8; front bushes 2.1-3.1
        ("belt_service", 3.2, 3.8),
        ("clutch_kit", 4.0, 9.0),
        ("crossmember_replace", 7.0, 9.5),
        ("bush_pair", 1.5, 3.1),
    ],
)
def test_hours_agree_with_published_flat_rates(cars: Knowledge, job: str, low: float, high: float) -> None:
    found = cars.jobs[job]
    hours = found.hours.mean + sum(cars.access[group].hours.mean for group in found.access)
    assert low <= hours <= high


def test_words_of_a_quote_tell_the_part() -> None:
    link = Speaks(subject="smoke", share=0.3, table="decisive", words={"blue": 0.6, "white": 0.03, "bluish white": 0.2})
    assert link.share_of("a puff of Blue on start-up") == 0.6
    assert link.share_of("bluish white haze") == 0.2  # the longest piece counts
    assert link.share_of("smokes a bit") == 0.3
