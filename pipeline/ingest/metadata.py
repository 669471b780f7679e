"""schema.org metadata of a page (JSON-LD, @graph included, and microdata) as stated values with their origin."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from selectolax.lexbor import LexborHTMLParser

from pipeline.types import StatedValue

TYPES = {"vehicle", "car", "motorcycle", "product", "offer", "individualproduct"}
KEYS = {
    "price": "asking_price", "priceCurrency": "currency", "mileageFromOdometer": "mileage", "vehicleModelDate": "year",
    "productionDate": "year", "dateVehicleFirstRegistered": "year", "fuelType": "fuel", "vehicleEngine": "engine",
    "engineDisplacement": "engine_litres", "vehicleTransmission": "gearbox", "vehicleIdentificationNumber": "vin",
    "bodyType": "body", "numberOfPreviousOwners": "owners", "knownVehicleDamages": "damages",
    "addressLocality": "place",
}  # fmt: skip
UNITS = {"SMI": "mi", "KMT": "km"}  # UN/CEFACT common codes
VEHICLES = TYPES - {"offer"}


def read_metadata(page: LexborHTMLParser, advert: LexborHTMLParser) -> tuple[StatedValue, ...]:
    """Stated values in the order found, the same one once. Values stay as the page wrote them.

    JSON-LD is taken from the whole `page` (the first vehicle there), microdata from the `advert`, which is the page
    without its strips of other adverts.
    """
    found: dict[tuple[str, str], StatedValue] = {}
    for value in (*_json_ld(page), *_microdata(advert)):
        found.setdefault((value.key, str(value.value)), value)
    return tuple(found.values())


def _json_ld(tree: LexborHTMLParser) -> Iterator[StatedValue]:
    for script in tree.css('script[type="application/ld+json"]'):
        try:
            data = json.loads(script.text(deep=True))
        except (ValueError, RecursionError):
            continue  # broken metadata is common; the text still stands
        items = list(_items(data, 0))
        vehicle = next((item for item in items if _is_a(item, VEHICLES)), None)
        for item in items if vehicle is None else _items(vehicle, 0):
            for name in KEYS:
                yield from _state(name, item.get(name))
        if vehicle is not None:
            return  # the vehicles after the first are other adverts


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
        for key in ("@graph", "offers", "itemOffered", "mainEntity"):
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
        yield StatedValue(KEYS[name], value.strip() if isinstance(value, str) else value, origin)


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
