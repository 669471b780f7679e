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
