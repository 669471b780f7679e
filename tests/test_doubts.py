"""What does not agree in a saved advert is told, and nothing is put right by guessing."""

import hashlib
import json
from datetime import date

import pytest

from pipeline.doubts import doubts_of, lookalike_words
from pipeline.ingest import read_source
from pipeline.nlp.facts import read_facts
from pipeline.types import Reading, SourceFile

CAR = {
    "@type": "Car",
    "mileageFromOdometer": {"@type": "QuantitativeValue", "value": 89000, "unitCode": "SMI"},
    "vehicleEngine": {"@type": "EngineSpecification", "fuelType": "Diesel", "engineDisplacement": {"value": 2.4}},
    "vehicleModelDate": "1994",
    "dateVehicleFirstRegistered": "1994-08-01",
    "vehicleTransmission": "Manual",
    "vehicleIdentificationNumber": "1M8GDM9AXKP042788",
    "numberOfPreviousOwners": 3,
    "knownVehicleDamages": "dent in the sliding door",
    "offers": {"@type": "Offer", "price": "4200.00", "priceCurrency": "GBP"},
}
TEXT = "Marrick Dale van of 1994, 98,000 miles, 2.4 diesel, manual gearbox, belt done, sills welded by a man. £4,200."


def reading(car: dict[str, object]) -> Reading:
    page = f'<html><script type="application/ld+json">{json.dumps(car)}</script><body><h1>Van</h1><p>{TEXT}</p></body>'
    data = page.encode()
    (advert,) = read_source(SourceFile("p.html", data, hashlib.sha256(data).hexdigest())).adverts
    facts, rivals = read_facts(advert.text, date(2026, 10, 1), advert.stated)
    return Reading(tuple(facts), (), tuple(rivals))


def test_every_stated_value_is_a_fact_with_its_origin() -> None:
    read = reading(CAR)
    stated = {fact.key: (fact.value, fact.origin) for fact in (*read.facts, *read.rivals) if fact.origin != "text"}
    assert stated["owners"] == (3, "schema.org numberOfPreviousOwners"), "schema.org counts the present one"
    assert stated["vin"] == ("1M8GDM9AXKP042788", "schema.org vehicleIdentificationNumber")
    assert stated["mileage"] == (89000, "schema.org mileageFromOdometer")


def test_where_words_and_data_disagree_both_are_kept_and_told() -> None:
    read = reading(CAR)
    assert read.fact("mileage") == 98000
    doubts = doubts_of([TEXT], [read])
    assert doubts == {"stated_differs": "mileage: the words say 98,000, schema.org mileageFromOdometer says 89,000"}
    agreeing = {**CAR, "mileageFromOdometer": {"value": 98000, "unitCode": "SMI"}}
    assert doubts_of([TEXT], [reading(agreeing)]) == {}


@pytest.mark.parametrize("mark", ["F228 ОWУ", "Р734 LHG", "АВ12 СМЕ", "1M8GDM9АXKP042788"])
def test_letters_that_only_look_latin_are_named_and_not_changed(mark: str) -> None:
    (told,) = lookalike_words(f"Nice van, reg {mark}, £4,200, café")
    assert told.startswith(mark) and "cyrillic" in told
    assert "lookalike_letters" in doubts_of([mark], [])


@pytest.mark.parametrize(
    "text", ["F228 OWY", "Москва", "naïve café, 5 µm, Ørsted", "Škoda-like, 98.000 km", "ΑΒΓ club"]
)
def test_other_writing_is_no_doubt(text: str) -> None:
    assert lookalike_words(text) == ()
