"""Where the vehicle stands, and how far, from the advert's own words."""

import pytest

from pipeline.paths import data_folder
from pipeline.placenames import distance_in, place_in
from pipeline.schemas.places import load_place_words

WORDS = load_place_words(data_folder("rules"))


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Marrick Dale van, £4,200 ono. Stroud.", "Stroud"),
        ("marrick van 4200 no offers, leek", "Leek"),
        ("It has been to Brittany nine times. Can be seen near Hexham any evening.", "Hexham"),
        ("Viewing welcome\n\nBarrow-in-Furness\n07700 900123", "Barrow in Furness"),
        ("New battery, good tyres, oil changed in March. Reading the book helps. Bath", "Bath"),
    ],
)
def test_the_place_is_found(text: str, name: str) -> None:
    place = place_in(text, WORDS, near=(54.0, -2.0))
    assert place is not None and place.name == name


@pytest.mark.parametrize("text", ["Deal wanted, good for sale, oil in the street", "", "£4,200 with MOT till March"])
def test_words_are_no_places(text: str) -> None:
    assert place_in(text, WORDS) is None


@pytest.mark.parametrize(
    ("text", "miles"),
    [
        ("Hexham (96 miles from Skipton) · posted", 96),
        ("Where: Bolton\nDistance: 44 miles", 44),
        ("10 km away", 6.2137),
        ("bought it 200 miles from Leeds", None),
        ("clutch done 3000 miles ago", None),
    ],
)
def test_a_stated_distance(text: str, miles: float | None) -> None:
    found = distance_in(text, "Skipton")
    assert found == (pytest.approx(miles, abs=1e-3) if miles is not None else None)
