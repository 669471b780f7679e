"""What cues bear on which words: negation, lists, exceptions, headings, sheets, questions, other vehicles, time."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.nlp.reader import Reader
from pipeline.schemas.language import load_language
from pipeline.types import Claim

READER = Reader(load_language(Path(__file__).parents[2] / "rules"))
SAVED = date(2026, 10, 14)


def said(text: str, mileage: int | None = None) -> set[str]:
    return {f"{claim.subject} {claim.status}" for claim in READER.read_claims(text, SAVED, mileage)}


def claim(text: str, subject: str, mileage: int | None = None) -> Claim:
    found = [one for one in READER.read_claims(text, SAVED, mileage) if one.subject == subject]
    assert len(found) == 1, found
    return found[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # negation
        ("No rust on the sills.", {"sills absent"}),
        ("The gearbox does not crunch.", {"gearbox absent"}),
        ("It has never been welded.", {"welding absent"}),
        # lists
        ("New clutch, brakes and tyres.", {"clutch done", "brakes done", "tyres done"}),
        ("Sills, arches and floors are all solid.", {"sills absent", "wings_arches absent", "floors absent"}),
        ("Cambelt and water pump replaced.", {"timing_belt done", "cooling done"}),
        ("No smoke, knocks or oil leaks.", {"smoke absent", "engine_noise absent", "engine_oil_leak absent"}),
        ("Needs tyres, brakes and a battery.", {"tyres due", "brakes due", "battery_charging due"}),
        # exceptions
        ("No rust bar the nearside arch.", {"rust_general absent", "wings_arches present"}),
        (
            "No rust anywhere except for the tailgate and one sill.",
            {"rust_general absent", "doors_panels present", "sills present"},
        ),
        # headings and bullets
        (
            "Recent work:\n- front brakes\n- battery\n\nBad points:\n- driver's seat torn\n- sills",
            {"brakes done", "battery_charging done", "interior present", "sills present"},
        ),
        ("Needs doing:\n- tyres\n- a clutch", {"tyres due", "clutch due"}),
        ("Good points: gearbox, clutch. Bad points: sills.", {"gearbox absent", "clutch absent", "sills present"}),
        # sheets
        (
            "Chassis: solid\nBrakes: binding\nSmoke: none\nClutch: replaced 2021",
            {"chassis absent", "brakes present", "smoke absent", "clutch done"},
        ),
        # no punctuation
        ("drives ok clutch slipping brakes fine tyres bald", {"clutch present", "brakes absent", "tyres present"}),
        # work that removed a fault
        ("Oil leak from the engine fixed last year.", {"engine_oil_leak done"}),
        ("Brakes were binding but have been rebuilt.", {"brakes done"}),
        # work that did not
        ("Gearbox rebuilt but still whines.", {"gearbox done", "gearbox present"}),
        # a need with its symptom
        ("Clutch is slipping and will need replacing.", {"clutch present", "clutch due"}),
        # a guessed cause
        ("Slight knock from the front, could be a wheel bearing.", {"hubs possible"}),
        # earlier owner's work
        ("The previous owner fitted a new clutch.", {"clutch done"}),
        # doubt
        ("No idea when the cambelt was done.", {"timing_belt possible"}),
        ("Might need a clutch.", {"clutch possible"}),
        # other vehicles, the model, buyers, conditions
        ("My last one needed a clutch.", set()),
        ("They all rust on the sills.", set()),
        ("If the clutch goes it is a day's work.", set()),
        # questions that are answered
        ("Rust? None.", {"rust_general absent"}),
        ("Cambelt? Done in 2022.", {"timing_belt done"}),
        ("Why buy a new clutch?", set()),
        # denied need
        ("It does not need a clutch.", set()),
    ],
)
def test_reads(text: str, expected: set[str]) -> None:
    found = said(text)
    subjects = {one.split()[0] for one in expected}
    assert found == expected if not expected else expected == {one for one in found if one.split()[0] in subjects}


def test_an_exception_in_the_same_subject_is_the_fault_alone() -> None:
    assert "sills absent" not in said("Sills solid except for a small hole at the back.")


@pytest.mark.parametrize(
    ("text", "grade"),
    [
        ("A touch of rust on the sills.", "slight"),
        ("Sills are rusty.", "plain"),
        ("Sills badly rotten.", "heavy"),
        ("Sills were badly rotten, now replaced.", "plain"),
    ],
)
def test_grade(text: str, grade: str) -> None:
    assert claim(text, "sills").grade == grade


@pytest.mark.parametrize(
    ("text", "at_mileage", "at_year"),
    [
        ("Clutch replaced at 96k in 2019.", 96_000, 2019),
        ("Clutch replaced two years ago.", None, 2024),
        ("Clutch done last month.", None, 2026),
        ("Clutch changed 20,000 miles ago.", 98_000, None),
        ("Clutch done in November.", None, 2025),
        ("Clutch done in March.", None, 2026),
        ("New clutch.", None, None),
        ("Clutch replaced at 300k.", None, None),  # more than the vehicle has done
    ],
)
def test_when(text: str, at_mileage: int | None, at_year: int | None) -> None:
    found = claim(text, "clutch", mileage=118_000)
    assert found.status == "done"
    assert (found.at_mileage, found.at_year) == (at_mileage, at_year)


def test_a_heading_ends_with_its_block() -> None:
    text = "Recent work:\n- brakes\n\nThe sills are rusty."
    assert said(text) >= {"brakes done", "sills present"}
    assert "sills done" not in said(text)


def test_words_in_the_opening_line_are_no_work() -> None:
    """Year and mileage of the vehicle beside a word such as a body style date nothing."""
    assert not {one for one in said("Torvane Drover hard top 1989, 118,000 miles.") if one.endswith("done")}


def test_one_claim_for_each_subject_and_status() -> None:
    claims = READER.read_claims("Clutch slipping. The clutch slips badly uphill.", SAVED)
    keys = [(one.subject, one.status) for one in claims]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize(
    ("text", "subject", "at_mileage", "at_year"),
    [
        ("Cambelt due next year.", "timing_belt", None, 2027),
        ("The light came up at 80,000 so the cambelt was done there and then.", "timing_belt", 80_000, None),
        ("Clutch replaced last winter.", "clutch", None, 2025),
        ("Cambelt changed yesterday.", "timing_belt", None, 2026),
        ("New clutch has nine months on it.", "clutch", None, 2026),
        ("Gearbox rebuilt at 190 000 km.", "gearbox", 190_000, None),
        ("Brake pads done since spring.", "brakes", None, 2026),
        ("Cambelt changed summer 2019.", "timing_belt", None, 2019),
        ("Clutch fitted Oct. last year.", "clutch", None, 2025),
        ("Brake pads replaced in May of this year.", "brakes", None, 2026),
        ("It was hit from behind in 2022. The bumper and a door were replaced.", "doors_panels", None, 2022),
        ("I moved house in 2022. The bumper and a door were replaced.", "doors_panels", None, None),
        ("New fuel pump Labor Day weekend.", "fuel_system", None, 2026),
        ("Air con regassed the summer before last.", "heating_cooling", None, 2025),
        ("Tailpipe needs replacing within a year in my view.", "exhaust", None, 2027),
        ("Swivel hubs rebuilt 150.", "hubs", 150_000, None),
        ("Engine reconditioned at 180,000. Clutch done then too.", "clutch", 180_000, None),
        ("Restored in 2014: new sills, floors, arches.", "floors", None, 2014),
        ("Gearbox oil changed at 60 and 100.", "gearbox", 100_000, None),
        ("Rebuilt gearbox with 40k on it.", "gearbox", None, None),
        ("Clutch done, cost me 7k.", "clutch", None, None),
        ("Cambelt done in 98.", "timing_belt", None, 1998),
        ("Clutch new, within 3,000 miles of now.", "clutch", None, None),
    ],
)
def test_when_in_other_words(text: str, subject: str, at_mileage: int | None, at_year: int | None) -> None:
    found = claim(text, subject, mileage=200_000)
    assert (found.at_mileage, found.at_year) == (at_mileage, at_year)


@pytest.mark.parametrize(
    "text", ["No log book with it. Drives well. One key.", "One key. Drives well. No log book with it."]
)
def test_of_two_things_that_make_one_claim_the_more_telling_is_quoted(text: str) -> None:
    (found,) = [one for one in READER.read_claims(text, SAVED) if one.subject == "documents"]
    assert found.status == "present" and found.quote == "No log book"


def test_a_heading_in_capitals_ends_at_the_next_one_in_the_line() -> None:
    told = said("DONE: cambelt 2024, rear discs. NOT PERFECT: rear arch bubbling. SILLS: original, waxed. PRICE: firm.")
    assert {"timing_belt done", "brakes done", "wings_arches present"} <= told
    assert not {"sills present", "sills done"} & told


@pytest.mark.parametrize(
    ("text", "subject", "at_mileage", "at_year"),
    [
        # the occasion told in the sentence before
        ("Gearbox rebuilt in 2021 at 120k. Clutch done while it was out.", "clutch", 120_000, 2021),
        ("Head gasket done at 140,000. Cambelt and water pump changed while it was apart.", "cooling", 140_000, None),
        ("Bare metal respray 2016. New floors when it was painted.", "floors", None, 2016),
        ("New discs last year. Brake pipes at that moment.", "brakes", None, 2025),
        ("Sills replaced in 2020. The whole underside was then waxed.", "underseal", None, 2020),
        ("New clutch in 2024. New battery too.", "battery_charging", None, 2024),
        ("Engine replaced 2015. Turbo went in with it.", "turbo", None, 2015),
        ("It has done 200,000 miles. Clutch replaced while it was apart.", "clutch", None, None),
        ("Serviced every 10,000, last at 160,000. Clutch replaced soon after.", "clutch", None, None),
        ("Exhaust replaced in August. New front pads also.", "brakes", None, 2026),
        ("Dry stored for years and recommissioned in 2023. New brake pipes, new tyres.", "brakes", None, 2023),
        ("Reversed into me in 2022. Insurance replaced the bumper and painted the wing.", "doors_panels", None, 2022),
        # what went wrong then
        ("It blew its head gasket in 2019. The head gasket was replaced at 150k.", "head_gasket", 150_000, 2019),
        ("The gearbox was noisy when I bought it in 2018. Gearbox rebuilt.", "gearbox", None, None),
        ("It let go of its head gasket in 2019. Head skimmed at 150k with a new radiator.", "cooling", 150_000, 2019),
        ("Last year's MOT was a disaster and I paid for £900 of welding.", "welding", None, 2025),
        # one time for a list
        ("Gone into it this year: clutch, four tyres in April, starter motor, new brake pads.", "brakes", None, 2026),
        ("Prep (2019, 131k, receipts): new cambelt, radius arm bushes.", "timing_belt", 131_000, 2019),
        ("Motor rebuilt at 190 000 (rings, bearings, head skimmed).", "head_gasket", 190_000, None),
        ("In 2019, at 95,000, the gearbox was rebuilt.", "gearbox", 95_000, 2019),
        ("Restored 2012-14: new sills, floors.", "floors", None, 2014),
        ("Since I bought it in 2012: new sills; clutch; new tyres.", "clutch", None, None),
        # a time that belongs to another
        ("New clutch; new tyres; gearbox oil changed at 180k.", "clutch", None, None),
        ("Clutch 2011; battery last year.", "clutch", None, 2011),
        ("New rear springs, serviced in March. Oil every 4k, plus a new gearbox in 2023.", "oil_service", None, 2026),
        ("Oil changed every 5,000 since 2012.", "oil_service", None, None),
        ("Serviced every 8k, last 163k.", "oil_service", 163_000, None),
        ("Sills done 2002 and again, better, 2018.", "sills", None, 2018),
        ("Clutch at 60, 95 & 118.", "clutch", 118_000, None),
        ("Clutch replaced in 2019. Air con regassed, same visit the alternator was replaced (June).",
         "battery_charging", None, 2026),
        ("Injectors done in 2021, regular 8k services, new clutch.", "clutch", None, None),
        # in other words
        ("Gearbox serviced 120 by a specialist.", "gearbox", 120_000, None),
        ("Clutch fitted last yr.", "clutch", None, 2025),
        ("Radiator recored last dry season.", "cooling", None, 2025),
        ("Clutch replaced in may.", "clutch", None, 2026),
        ("Clutch replaced last Friday.", "clutch", None, 2026),
        ("Cambelt due again this February.", "timing_belt", None, 2027),
        ("Engine rebuilt in 23, runs well.", "engine_replaced", None, 2023),
        ("Gearbox oil changed, 160.", "gearbox", 160_000, None),
        ("Cambelt changed with 118 on the clock.", "timing_belt", 118_000, None),
        ("Engine rebuilt at 120,000 and now shows 149,000.", "engine_replaced", 120_000, None),
        ("Engine swapped for a 90,000 mile one in 2012.", "engine_replaced", None, 2012),
        ("Sills welded in the spring and summer of 2022.", "sills", None, 2022),
        ("Tyres replaced last summer but one.", "tyres", None, 2025),
    ],
)  # fmt: skip
def test_when_told_elsewhere(text: str, subject: str, at_mileage: int | None, at_year: int | None) -> None:
    made = [one for one in READER.read_claims(f"Good old bus. {text}", SAVED, 200_000) if one.subject == subject]
    found = [(one.at_mileage, one.at_year) for one in made if one.status in ("done", "due")]
    assert found == [(at_mileage, at_year)]
