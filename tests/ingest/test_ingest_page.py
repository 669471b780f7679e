"""Saved pages: words kept and dropped, metadata with its origin."""

import hashlib

from pipeline.ingest import read_source
from pipeline.types import Advert, SourceFile

WORDS = "Honest old van, belt done at 90k, some rust on the sills, new test, drives well."


def page(html: str) -> Advert:
    data = html.encode()
    (advert,) = read_source(SourceFile("p.html", data, hashlib.sha256(data).hexdigest())).adverts
    return advert


def test_strips_are_dropped_and_address_is_the_id() -> None:
    advert = page(
        '<!doctype html><html><head><link rel="canonical" href="https://x.invalid/7"></head><body><nav>Home</nav>'
        f"<h1>Old van</h1><p>{WORDS}</p><div class='similar-ads'><div class='related'>Other van</div></div>"
        "<div id='cookie'>We use cookies</div><footer>Terms</footer><script>evil()</script></body></html>"
    )
    assert advert.text == f"Old van\n{WORDS}"
    assert (advert.advert_id, advert.title) == ("https://x.invalid/7", "Old van")


def test_full_text_is_kept_when_rules_leave_too_little() -> None:
    assert WORDS in page(f"<html><body><div class='related'>{WORDS}</div></body></html>").text


def test_json_ld_graph() -> None:
    advert = page(
        '<html><head><script type="application/ld+json">{"@graph":[{"@type":"Car","mileageFromOdometer":'
        '{"value":120000,"unitCode":"KMT"},"offers":{"@type":"Offer","price":"900","priceCurrency":"EUR"}}]}</script>'
        f'<script type="application/ld+json">{{broken</script></head><body>{WORDS}</body></html>'
    )
    values = {s.key: s.value for s in advert.stated}
    assert values == {"mileage_unit": "km", "mileage": 120000, "asking_price": "900", "currency": "EUR"}
    assert advert.stated[1].origin == "schema.org mileageFromOdometer"


def test_microdata() -> None:
    advert = page(
        '<html><body itemscope itemtype="https://schema.org/Car"><span itemprop="fuelType">diesel</span>'
        f'<meta itemprop="price" content="1200">{WORDS}</body></html>'
    )
    assert {s.key: s.value for s in advert.stated} == {"fuel": "diesel", "asking_price": "1200"}


def test_a_neighbours_metadata_does_not_become_this_adverts() -> None:
    html = (
        "<html><body><main itemscope itemtype='https://schema.org/Car'><h1>Marrick Dale</h1>"
        "<p>A long tale about a van that has been looked after by one family since it left the works in 1994.</p>"
        "<span itemprop='price' content='4200'>£4,200</span></main>"
        "<div class='similar-ads'><div itemscope itemtype='https://schema.org/Car'>"
        "<span itemprop='price' content='999'>£999</span></div></div></body></html>"
    )
    advert = page(html)
    assert [v.value for v in advert.stated if v.key == "asking_price"] == ["4200"]
    assert "999" not in advert.text


def test_the_first_of_several_vehicles_in_json_ld_is_the_adverts() -> None:
    graph = (
        '{"@graph": [{"@type": "Car", "offers": {"@type": "Offer", "price": 4200, "priceCurrency": "GBP"},'
        '"vehicleEngine": {"@type": "EngineSpecification", "fuelType": "diesel"}},'
        '{"@type": "Car", "offers": {"@type": "Offer", "price": 999}}]}'
    )
    html = f"<html><body><script type='application/ld+json'>{graph}</script><p>{'a word ' * 20}</p></body></html>"
    advert = page(html)
    assert {(v.key, v.value) for v in advert.stated} == {
        ("asking_price", 4200),
        ("currency", "GBP"),
        ("fuel", "diesel"),
    }


def test_a_strip_under_its_heading_goes_and_a_specification_reads_as_pairs() -> None:
    text = page(
        "<html><body><div class='x1'><h2>About cookies</h2><p>Thirteen months, £89 a month.</p></div>"
        "<h1>Marrick Dale van</h1><table><tr><td>Mileage</td><td>98,000</td><td>Fuel</td><td>Diesel</td></tr></table>"
        f"<div><h2>What the seller says</h2><p>{WORDS}</p></div>"
        "<div class='x2'><h2>You looked at</h2><p>Another, £6,995</p></div></body></html>"
    ).text
    assert "6,995" not in text and "89" not in text
    assert text.splitlines()[1:3] == ["Mileage: 98,000", "Fuel: Diesel"]
    assert WORDS in text


def test_a_heading_does_not_take_the_advert_with_it() -> None:
    html = f"<html><body><div><h2>Similar to my last one</h2><h1>Van</h1><p>{WORDS}</p></div></body></html>"
    assert WORDS in page(html).text
