"""schema.org metadata of a page (JSON-LD, @graph included, and microdata) as stated values with their origin."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from selectolax.lexbor import LexborHTMLParser

from pipeline.ingest.address import clean_address
from pipeline.types import StatedValue

TYPES = {
    "vehicle", "car", "motorcycle", "product", "individualproduct", "offer", "pricespecification",
    "unitpricespecification",
}  # fmt: skip
KEYS = {
    "price": "asking_price", "priceCurrency": "currency", "mileageFromOdometer": "mileage", "vehicleModelDate": "year",
    "productionDate": "year", "dateVehicleFirstRegistered": "year", "fuelType": "fuel", "vehicleEngine": "engine",
    "engineDisplacement": "engine_litres", "vehicleTransmission": "gearbox", "vehicleIdentificationNumber": "vin",
    "bodyType": "body", "numberOfPreviousOwners": "owners", "knownVehicleDamages": "damages",
    "addressLocality": "place",
}  # fmt: skip
UNITS = {"SMI": "mi", "KMT": "km"}  # UN/CEFACT common codes
VEHICLES = TYPES - {"offer", "pricespecification", "unitpricespecification"}
MOST_SCRIPTS = 50
MOST_VALUES = 100
_BREAKS = re.compile(r"[\x00-\x1f]")  # line breaks inside strings are no JSON, and common


def read_metadata(
    page: LexborHTMLParser, advert: LexborHTMLParser | None, address: str | None = None
) -> tuple[StatedValue, ...]:
    """Stated values in the order found, the same one once. Values stay as the page wrote them.

    JSON-LD is taken from the whole `page` (the vehicle with its `address`, else the first there), microdata from the
    `advert`, which is the page without its strips of other adverts.
    """
    found: dict[tuple[str, str], StatedValue] = {}
    for value in (*_json_ld(page, address), *_microdata(page if advert is None else advert)):
        found.setdefault((value.key, str(value.value)), value)
    return tuple(found.values())[:MOST_VALUES]


def _json_ld(tree: LexborHTMLParser, address: str | None) -> Iterator[StatedValue]:
    vehicles: list[dict[str, Any]] = []
    others: list[dict[str, Any]] = []
    for script in tree.css('script[type="application/ld+json"]')[:MOST_SCRIPTS]:
        try:
            data = json.loads(_BREAKS.sub(" ", script.text(deep=True)))
        except (ValueError, RecursionError):
            continue  # broken metadata is common; the text still stands
        for item in _items(data, 0):
            (vehicles if _is_a(item, VEHICLES) else others).append(item)
    own = next((item for item in vehicles if address and clean_address(item.get("url")) == address), None)
    best = own or next(iter(vehicles), None)  # the vehicles after the first are other adverts
    for item in others if best is None else _items(best, 0):
        for name in KEYS:
            yield from _state(name, item.get(name))


def _is_a(item: dict[str, Any], types: set[str]) -> bool:
    kinds = item.get("@type")
    names = kinds if isinstance(kinds, list) else [kinds]
    return any(str(kind).rsplit("/", 1)[-1].lower() in types for kind in names)


def _items(data: Any, depth: int) -> Iterator[dict[str, Any]]:
    if depth > 8:
        return
    if isinstance(data, list):
        for part in data:
            yield from _items(part, depth + 1)
    elif isinstance(data, dict):
        if _is_a(data, TYPES):
            yield data
        for key in ("@graph", "offers", "itemOffered", "mainEntity", "priceSpecification"):
            yield from _items(data.get(key), depth + 1)


def _state(name: str, value: Any) -> Iterator[StatedValue]:
    origin = f"schema.org {name}"
    if isinstance(value, list):
        value = next((part for part in value if part), None)
    if isinstance(value, dict):
        if name == "vehicleEngine":
            for inner in ("fuelType", "engineDisplacement"):
                yield from _state(inner, value.get(inner))
        unit = UNITS.get(str(value.get("unitCode")))
        if name == "mileageFromOdometer" and unit:
            yield StatedValue("mileage_unit", unit, origin)
        value = value.get("value", value.get("name"))
    if isinstance(value, str | int | float) and not isinstance(value, bool) and str(value).strip():
        yield StatedValue(KEYS[name], value.strip()[:500] if isinstance(value, str) else value, origin)


def _microdata(tree: LexborHTMLParser) -> Iterator[StatedValue]:
    kinds = [str(node.attributes.get("itemtype") or "") for node in tree.css("[itemscope][itemtype]")]
    if not any(kind.rsplit("/", 1)[-1].lower() in TYPES for kind in kinds):
        return
    for node in tree.css("[itemprop]"):
        name = str(node.attributes.get("itemprop"))
        if name not in KEYS:
            continue
        inner = node.css_first('[itemprop="value"]')
        unit = node.css_first('[itemprop="unitCode"]')
        best = inner or node
        value = best.attributes.get("content") or best.text(deep=True)
        code = (unit.attributes.get("content") or unit.text(deep=True)).strip() if unit else None
        yield from _state(name, {"value": value, "unitCode": code})
