"""What a buyer who works on it is warned of, and what an advert names of a pack's model."""

from dataclasses import replace
from datetime import date

from pipeline.costing.estimate import estimate
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.traits import named_in, vehicle_traits
from pipeline.types import Buyer, Claim, Evidence

RULES, CLUB = data_folder("rules"), data_folder("data_demo") / "packs"
GENERAL = load_knowledge(["general"], RULES)
CURLEW = load_knowledge(["light-camper-van", "fenwright-curlew"], RULES, [CLUB])
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
FACTS = {"year": [1996], "fuel": "diesel", "mileage": 120000}
RUSTY = Claim("sills", "present", "heavy", "rotten sills", 0, 5, "test")
VAN = Evidence("1", FACTS, (RUSTY,), 30.0, 120000.0, date(2026, 10, 31), 80)


def test_who_works_on_it_is_warned_and_who_pays_for_it_is_not() -> None:
    (own,) = estimate([VAN], GENERAL, replace(BUYER, does_own_work=True), samples=200)
    (paid,) = estimate([VAN], GENERAL, BUYER, samples=200)
    assert any("sill" in one.text and "weld" in one.text.lower() for one in own.cautions)
    assert len({one.text.split(": ", 1)[1] for one in own.cautions}) == len(own.cautions)  # each said once
    assert not paid.cautions


def test_variants_are_found_by_their_words_the_longest_first() -> None:
    assert named_in(CURLEW, "1998 Fenwright Curlew Estuary Plus, S461 KUB") == {
        "variants": ["estuary_plus"],
        "model_named": True,
    }
    assert named_in(CURLEW, "Curlew Saltmarsh, series 2")["variants"] == ["saltmarsh", "series_2"]
    assert named_in(CURLEW, "a light van with a bed") == {"model_named": False}
    assert named_in(GENERAL, "Curlew Saltmarsh") == {}


def test_a_variant_tells_what_the_vehicle_has() -> None:
    facts = FACTS | named_in(CURLEW, "Curlew Shingle")
    assert vehicle_traits(CURLEW, facts)["elevating_roof"] == 0
    assert vehicle_traits(CURLEW, FACTS | named_in(CURLEW, "Estuary"))["elevating_roof"] == 1


def test_an_advert_of_something_else_is_told() -> None:
    other = replace(VAN, facts=FACTS | named_in(CURLEW, "some other van"))
    named = replace(VAN, facts=FACTS | named_in(CURLEW, "my Curlew"))
    (unnamed,), (plain,) = (list(estimate([one], CURLEW, BUYER, samples=200)) for one in (other, named))
    assert any("does not name the model" in one.text for one in unnamed.assumptions)
    assert not any("does not name the model" in one.text for one in plain.assumptions)
