"""The roadworthiness test, fuel, engine, gearbox, owners, history, plate, VIN, values from beside the text."""

from datetime import date
from typing import Any

import pytest

from pipeline.nlp.facts import read_facts
from pipeline.types import FACT_KEYS, StatedValue

DAY = date(2026, 11, 2)


def read(text: str, key: str) -> Any:
    chosen, _ = read_facts(text, DAY)
    return next((fact.value for fact in chosen if fact.key == key), None)


@pytest.mark.parametrize(
    ("text", "state", "expiry"),
    [
        ("mot march", "valid", "2027-03"),
        ("MOT until 11 Dec, no advisories", "valid", "2026-12"),
        ("MOT 19/08/27", "valid", "2027-08"),
        ("11 months' test", "valid", "2027-10"),
        ("12 months MOT", "valid", "2027-11"),
        ("MOT 4 mths", "valid", "2027-03"),
        ("mot dec 30", "valid", "2026-12"),
        ("MOT July 27", "valid", "2027-07"),
        ("long MOT", "valid", None),
        ("Test to end of Feb", "valid", "2027-02"),
        ("MOT ran out April", "expired", "2026-04"),
        ("No MOT since June", "expired", "2026-06"),
        ("No MOT", "none", None),
        ("Failed its MOT on emissions", "none", None),
        ("Tax and MOT exempt", "exempt", None),
        ("Tax and MOT till June", "valid", "2027-06"),
        ("No MOT since 2021, £900", "expired", None),
        ("MOT gone in August, £900", "expired", "2026-08"),
        ("MOT ran out last month, £900", "expired", "2026-10"),
        ("MOT last month, clean, £900", "valid", "2027-10"),
        ("MOT third week of September, passed first time", "valid", "2027-09"),
        ("Last test, February, mentioned corrosion", "valid", "2027-02"),
        ("Last MOT March 2019. No tax.", "expired", "2020-03"),
        ("MOT: none. Last test 02/2024 - fail", "none", None),
        ("Full ticket, went through last Thursday", "valid", "2027-11"),
        ("MOT two weeks ago, clean pass, £900", "valid", "2027-10"),
        ("MOT Feb 28. £900", "valid", "2027-02"),
        ("Taxed and MOT. £900", "valid", None),
        ("MOT and tax all in date, £900", "valid", None),
        ("MOT today, 12 months. £900", "valid", "2027-11"),
        ("Road legal till April, £900", "valid", "2027-04"),
        ("Ticket finished on Hallowe'en, £900", "expired", "2026-10"),
        ("Pink slip in hand, $900, Toledo Ohio", None, None),
        ("All old MOT certificates kept, £900", None, None),
        ("No MOT needed at its age", "exempt", None),
        ("NCT is up 14th Nov", "valid", "2026-11"),
        ("DOE till 2/27, Letterkenny", "valid", "2027-02"),
        ("TÜV 04.2027", "valid", "2027-04"),
        ("Pickerl 02/2027", "valid", "2027-02"),
        ("WOF 3/27, rego lapsed", "valid", "2027-03"),
        ("RWC included", "valid", None),
        ("no RWC, rego to June", "none", None),
        ("No safety, sold as is, Ontario", "none", None),
        ("rego to June", None, None),
        ("Take it for a test drive", None, None),
        ("Nothing said", None, None),
        ("The MOT as printed: 4 June 2026, pass with two advisories, expires 3 June 2027", "valid", "2027-06"),
        ("The MOT is here, tax expires 3 June 2027", None, None),
        ("Last test was on 20 May 2026 and expires 19 May 2027", "valid", "2027-05"),
        ("NCT out to January", "valid", "2027-01"),
        ("NCT out since January", "expired", "2026-01"),
        ("NCT passed there on the 2nd of July", "valid", "2027-07"),
        ("Fresh roadworthy this month, rego May, Dubbo NSW", "valid", None),
        ("MOT this month", "valid", "2026-11"),
        ("MFK 10.2026 fresh, Bern", "valid", None),
        ("MOT March, fresh oil", "valid", "2027-03"),
        ("New MOT, two keys", "valid", "2027-11"),
        ("New MOT when sold", None, None),
        ("MOT was done last week", "valid", "2027-11"),
        ("MOT long gone", "expired", None),
        ("needs neither tax nor test", "exempt", None),
        ("sold uncertified, Ontario", "none", None),
        ("RWC at your cost, rego May", "none", None),
        ("Fails MOT on both front tyres", "none", None),
        ("Technical until 30.06.2027", "valid", "2027-06"),
        ("Has just had a full service and MOT", "valid", None),
        ("every MOT since new kept", None, None),
    ],
)
def test_roadworthiness(text: str, state: str | None, expiry: str | None) -> None:
    assert (read(text, "test_state"), read(text, "test_expiry")) == (state, expiry)


@pytest.mark.parametrize(
    ("text", "fuel"),
    [
        ("Marden Fennel 1.4 petrol", "petrol"),
        ("2.5 td manual", "diesel"),
        ("1.9 D", "diesel"),
        ("4.3 V6 gas, title in hand, tires new", "petrol"),
        ("4.5 petrol + LPG conversion", "lpg"),
        ("1.8 hybrid wagon", "hybrid"),
        ("MOT May. Petrol tank leaks, diesel heater fitted.", None),
        ("Camper with gas cooker, MOT May", None),
        ("3.9 V8, title, runs on regular", "petrol"),
        ("3.9 V8, title, takes 87 octane", "petrol"),
        ("4.8 gasser, title in hand", "petrol"),
        ("1.9 disel", "diesel"),
        ("2.2 TDCX estate", "diesel"),
        ("2.4 diesel camper, the oven runs on gas", "diesel"),
        ("2.4 diesel, gas system tested", "diesel"),
        ("3.5 estate, runs on gas, V5, MOT May", "lpg"),
        ("2.0 turbo, hybrid turbo fitted", None),
        ("1.8 petrol/electric", "hybrid"),
        ("2.1 turbo D, 1990", "diesel"),
        ("2.4 petrol/gas", "lpg"),
    ],
)
def test_fuel(text: str, fuel: str | None) -> None:
    assert read(text, "fuel") == fuel


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("1.4 petrol", 1.4), ("1998cc", 2.0), ("6,8 L essence", 6.8), ("Marden Fennel 1300, 1972", 1.3),
        ("660cc", 0.7), ("charges at 14.2", None), ("2.5 ton trailer", None), ("1998 car", None),
    ],
)  # fmt: skip
def test_engine(text: str, litres: float | None) -> None:
    assert read(text, "engine_litres") == litres


@pytest.mark.parametrize(
    ("text", "box"),
    [
        ("five speed", "manual"), ("5spd", "manual"), ("5-speed auto", "auto"), ("automatic", "auto"),
        ("three on the tree", "manual"), ("CVT", "auto"), ("owner's manual present", None), ("manual windows", None),
        ("auto locker fitted", None), ("manuel gear box", "manual"), ("automattic trans", "auto"),
        ("Third gear whines", None), ("5th gear done", None), ("five gears, all work", "manual"),
        ("2.7 petrol, man, 246,000 km", "manual"), ("2.5 diesel man 4x4", "manual"), ("says the man, he knows", None),
        ("2.0 stick, 211k miles, clean title, Ohio", "manual"), ("title, needs a stick, Ohio", None),
        ("2.4, 6AT, 71k", "auto"), ("fitted 6 at most", None), ("2.0 standard, Ontario, safety done", "manual"),
        ("a standard service", None), ("the gearstick rattles", None), ("petrol, a gearstick.", "manual"),
        ("sliding door is manual", None), ("3.6 V6, five door manual", "manual"), ("4 on the floor", "manual"),
    ],
)  # fmt: skip
def test_gearbox(text: str, box: str | None) -> None:
    assert read(text, "gearbox") == box


@pytest.mark.parametrize(
    ("text", "owners"),
    [
        ("second owner", 2), ("owner number two", 2), ("four names in the logbook", 4), ("ours from new", 1),
        ("I am its third keeper", 3), ("five keepers", 5), ("two owners, him and now me", 2),
        ("2 previous owners", 2), ("two previous keepers plus me", 3), ("one owner from new", 1),
        ("one company from new", 1), ("Owners: 4", 4), ("one lady owner and then me", 2),
        ("the first owner waxed it", None), ("a good second hand gearbox", None),
        ("2.0 diesel. Third hand. Belt done.", 3), ("Second hand. Runs.", None), ("First owner. Brakes done.", 1),
        ("Keepers: a friend, then us, so 2", 2), ("Belt or chain, so 2 views", None), ("Keepers on the V5: 5", 5),
        ("the sole keeper since 2004 (two in all)", 2), ("its only owner", 1), ("ours since new", 1),
        ("one family since new", 1), ("two families since new", 2), ("a clutch put in by the second owner", None),
        ("dead since two owners ago", None), ("two owners' worth of bills", None), ("I'm the fourth to own it", 4),
        ("Owner no. 2", 2), ("I'm just the second name on the title", 2), ("that makes two of us", 2),
        ("No owner but us", 1), ("I bought it new", 1), ("bought new by me", 1), ("Mum bought it new in Leith", None),
        ("We bought new tyres", None), ("Five on the V5", 5), ("One NZ owner", 1),
    ],
)  # fmt: skip
def test_owners(text: str, owners: int | None) -> None:
    assert read(text, "owners") == owners


@pytest.mark.parametrize(
    ("text", "history"),
    [
        ("full SH", "full"), ("book stamped to 96", "part"), ("half the history", "part"),
        ("folder of receipts from 2016", "part"), ("FSH", "full"), ("full main dealer history", "full"),
        ("stamped right through", "full"),
        ("part service history", "part"), ("a folder of receipts", "part"), ("FSH to 90k", "part"),
        ("no service history", "none"), ("Nothing", None),
        ("the book is stamped up to 140, receipts after", "part"), ("log book up to 90, not after", "part"),
        ("there is the belt's invoice and a few more", "part"), ("stamped up to date", "full"),
        ("a bit of history", "part"),
        ("main dealer record to 81,000 and independent thereafter", "full"), ("there's a file", "part"),
        ("stamped at every service bar one", "part"), ("every box stamped", "full"), ("some paperwork", "part"),
        ("serviced every June, bills for each", "full"), ("serviced every 10,000", None),
        ("records from day one", "full"), ("never any records", "none"),
        ("book with 7 stamps out of 11", "part"), ("Books: lost before my time, receipts from 2016 on", "part"),
        ("a folder of pictures", None), ("log book to hand", None), ("the history's gone missing", "none"),
    ],
)  # fmt: skip
def test_history(text: str, history: str | None) -> None:
    assert read(text, "service_history") == history


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [
        ("Reg P123 ABC", "plate", "P123ABC"),
        ("Marden Fennel, XY04 ZAB, MOT May", "plate", "XY04ZAB"),
        ("98-KY-2211", "plate", "98-KY-2211"),
        ("THE 131K SHOWING CANNOT BE CONFIRMED, V6 SUV", "plate", None),
        ("VIN 1M8GDM9AXKP042788", "vin", "1M8GDM9AXKP042788"),
        ("Chassis no. ZLD 115 0008412", "vin", "ZLD1150008412"),
        ("chassis number stamped and matches", "vin", None),
    ],
)
def test_identity(text: str, key: str, value: str | None) -> None:
    assert read(text, key) == value


def test_the_text_wins_over_what_stands_beside_it_unless_it_is_silent() -> None:
    stated = (
        StatedValue("asking_price", "£1,950", "column price"),
        StatedValue("mileage", "190000", "schema.org mileageFromOdometer"),
        StatedValue("mileage_unit", "km", "schema.org mileageFromOdometer"),
        StatedValue("fuel", "Diesel fuel", "schema.org fuelType"),
        StatedValue("year", 2004, "schema.org vehicleModelDate"),
        StatedValue("body", "van", "schema.org bodyType"),
    )
    chosen, rivals = read_facts("Marden Fennel 2003. £1,850, MOT May.", DAY, stated)
    facts = {fact.key: fact for fact in chosen}
    assert facts["asking_price"].value == 1850
    assert facts["year"].value == (2003,)
    assert facts["mileage"].value == 190000
    assert (facts["mileage"].start, facts["mileage"].origin) == (-1, "schema.org mileageFromOdometer")
    assert facts["mileage_unit"].value == "km"
    assert facts["fuel"].value == "diesel"
    other = {(fact.key, fact.value, fact.origin) for fact in rivals}
    assert ("asking_price", 1950, "column price") in other
    assert ("year", (2004,), "schema.org vehicleModelDate") in other


@pytest.mark.parametrize(
    "value", [None, "", "n/a", float("nan"), float("inf"), True, [], {"a": 1}, "9" * 400, "-5", "0"]
)
def test_unreadable_stated_values_are_left_out(value: Any) -> None:
    stated = [StatedValue(key, value, "column") for key in (*FACT_KEYS, "body")]
    chosen, _ = read_facts("Nothing said.", DAY, stated)
    assert all(fact.start == -1 for fact in chosen)
    assert not any(fact.key in ("year", "fuel", "gearbox", "engine_litres", "owners") for fact in chosen)


def test_offsets_are_those_of_the_text() -> None:
    text = "İstanbul car ß, 1998, £1,850 ono.\n118,000 miles, MOT to March, 1.4 petrol manual, 2 owners, FSH."
    chosen, rivals = read_facts(text, DAY)
    assert len(chosen) >= 10
    for fact in (*chosen, *rivals):
        assert text[fact.start : fact.end] == fact.quote
        assert fact.rule and 0.5 <= fact.confidence <= 1


def test_a_name_that_begins_like_a_label_is_no_label() -> None:
    assert read("MARDEN REGALIA 4-BERTH", "plate") is None
    assert read("rego til 3 oct", "plate") is None


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [
        ("Fenwright Curlew 1.9 RTD estate, 2007", "fuel", "diesel"),
        ("Fenwright Curlew 3.2 JDCi 7 seat, 2007", "fuel", "diesel"),
        ("Fenwright Curlew 3.2 disc brakes all round, 2007", "fuel", None),
        ("Fenwright Curlew 3.2, we did 400 miles, 2007", "fuel", None),
        ("Fenwright Curlew 1.6, regular unleaded", "fuel", "petrol"),
        ("Fenwright Curlew 1.6, kept by a retired diesel instructor", "fuel", None),
        ("Fenwright Curlew 1.6, for my aunt Bev", "fuel", None),
        ("Fenwright Curlew 1.6 automatic? No, manual.", "gearbox", "manual"),
        ("Fenwright Curlew 1.6, auto handbrake", "gearbox", None),
        ("Fenwright Curlew, five liter V8", "engine_litres", 5.0),
        ("Fenwright Curlew, with a five litre can", "engine_litres", None),
    ],
)
def test_fuel_box_and_size_as_said(text: str, key: str, value: object) -> None:
    assert read(text, key) == value
