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
    "fuelType": "fuel", "vehicleTransmission": "gearbox", "vehicleIdentificationNumber": "vin", "bodyType": "body",
    "numberOfPreviousOwners": "owners",
}  # fmt: skip
UNITS = {"SMI": "miles", "KMT": "km"}  # UN/CEFACT common codes


def read_metadata(tree: LexborHTMLParser) -> tuple[StatedValue, ...]:
    """Stated values in the order found, the same one once. Values stay as the page wrote them."""
    found: dict[tuple[str, str], StatedValue] = {}
    for value in (*_json_ld(tree), *_microdata(tree)):
        found.setdefault((value.key, str(value.value)), value)
    return tuple(found.values())


def _json_ld(tree: LexborHTMLParser) -> Iterator[StatedValue]:
    for script in tree.css('script[type="application/ld+json"]'):
        try:
            data = json.loads(script.text(deep=True))
        except (ValueError, RecursionError):
            continue  # broken metadata is common; the text still stands
        for item in _items(data, 0):
            for name in KEYS:
                yield from _state(name, item.get(name))


def _items(data: Any, depth: int) -> Iterator[dict[str, Any]]:
    if depth > 8:
        return
    if isinstance(data, list):
        for part in data:
            yield from _items(part, depth + 1)
    elif isinstance(data, dict):
        kinds = data.get("@type")
        names = kinds if isinstance(kinds, list) else [kinds]
        if any(str(kind).rsplit("/", 1)[-1].lower() in TYPES for kind in names):
            yield data
        for key in ("@graph", "offers", "itemOffered", "mainEntity"):
            yield from _items(data.get(key), depth + 1)


def _state(name: str, value: Any) -> Iterator[StatedValue]:
    origin = f"schema.org {name}"
    if isinstance(value, dict):
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
