"""Where the vehicle stands, from the advert's own words."""

from __future__ import annotations

import re

from pipeline.places import Place, gazetteer, miles_between, name_key
from pipeline.schemas.places import PlaceWords
from pipeline.types import MILES_PER_KM

_TOKEN = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")


_DISTANCE = re.compile(
    r"(?:\bdistance:?\s{0,3}|\()?\b(\d{1,4})\s{0,2}(miles?|mi|kms?|kilomet(?:re|er)s)\s{1,2}(?:from|away)\b"
    r"|\bdistance:?\s{1,3}(\d{1,4})\s{0,2}(miles?|mi|kms?)\b",
    re.IGNORECASE,
)


def distance_in(text: str, home: str) -> float | None:
    """Road miles that a page states beside the advert ("44 miles away", "96 miles from" the buyer's own home)."""
    for match in _DISTANCE.finditer(text):
        number, unit = (match[1], match[2]) if match[1] else (match[3], match[4])
        after = text[match.end() : match.end() + 40].strip().lower()
        if match[1] and match[0].lower().endswith("from") and not after.startswith(home.strip().lower()):
            continue  # so far from somewhere else
        return float(number) * (MILES_PER_KM if unit.lower().startswith("k") else 1.0)
    return None


def place_in(
    text: str, rules: PlaceWords, near: tuple[float, float] | None = None, countries: tuple[str, ...] = ("GB",)
) -> Place | None:
    """The place that a text names as its own, None when there is none.

    A name after "in" or "near", alone between full stops, or late in the text goes before others; of several places
    of one name the much larger one is meant, else the one nearest to `near` (degrees).
    """
    names = gazetteer(countries)
    words = list(_TOKEN.finditer(text))
    best: tuple[float, Place] | None = None
    for size in (3, 2, 1):
        for start in range(len(words) - size + 1):
            first, last = words[start], words[start + size - 1]
            piece = text[first.start() : last.end()]
            if "\n" in piece or (size > 1 and first.group().lower() in {"the", "village", "just", *rules.leads}):
                continue
            found = names.get(name_key(piece))
            if not found:
                continue
            led = bool(start and words[start - 1].group().lower() in rules.leads)
            alone = _is_alone(text, first.start(), last.end())
            capital = piece[0].isupper() and not piece.isupper()
            common = size == 1 and piece.lower() in rules.common
            if common and not alone:
                continue
            if not (led or alone or (capital and found[0].population >= rules.smallest)):
                continue
            score = (2.0 if led else 0.0) + (2.0 if alone else 0.0) + (1.0 if capital else 0.0)
            score += size * 0.5 + first.start() / max(len(text), 1)
            spot = found[0]
            if len(found) > 1 and near is not None and spot.population < 5 * found[1].population:
                spot = min(found, key=lambda p: miles_between(near, (p.latitude, p.longitude)))
            if best is None or score > best[0]:
                best = (score, spot)
    return best[1] if best else None


def _is_alone(text: str, start: int, end: int) -> bool:
    """The words stand between line ends or full stops: "… £4,200 ono. Stroud."""
    before, after = text[:start].rstrip(" "), text[end:].lstrip(" ")
    return (not before or before[-1] in ".\n,;:!-–|") and (not after or after[0] in ".\n!,;|")
