"""Adverts of one vehicle: the same plate or VIN, or near-equal text whose facts agree.

Pairs are found through shared runs of words (shingles; Broder 1997, "On the resemblance and containment of
documents"), so that not every advert is compared with every other.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from rapidfuzz import fuzz

from pipeline.schemas.linking import LinkRules

_WORD = re.compile(r"[a-z0-9]+")
_SETTLED = ("fuel", "gearbox", "engine_litres")  # facts that a vehicle does not change


@dataclass(frozen=True, slots=True)
class Linkable:
    """One advert as linking sees it: its newest text and its chosen facts."""

    advert_id: str
    text: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Link:
    """Two adverts that look to be of one vehicle. `score` is 1 for a plate or VIN, else the likeness from 0 to 1."""

    a: str
    b: str
    reason: str
    score: float


def link(adverts: Sequence[Linkable], rules: LinkRules) -> list[Link]:
    """Every proposed link, in the order of the adverts. Adverts whose facts contradict each other are not linked."""
    found: dict[tuple[int, int], Link] = {}
    for key, what in (("vin", "the same VIN"), ("plate", "the same plate")):
        for i, j in _same_value(adverts, key):
            found.setdefault((i, j), Link(adverts[i].advert_id, adverts[j].advert_id, what, 1.0))
    words = [_WORD.findall(advert.text.lower()) for advert in adverts]
    for i, j in sorted(_sharing(words, rules)):
        if (i, j) in found or _contradict(adverts[i].facts, adverts[j].facts, rules):
            continue
        likeness = fuzz.token_set_ratio(" ".join(words[i]), " ".join(words[j]))
        if likeness >= rules.least_likeness:
            reason = f"near-equal text ({likeness:.0f} of 100) and no fact that differs"
            found[i, j] = Link(adverts[i].advert_id, adverts[j].advert_id, reason, likeness / 100)
    return [found[pair] for pair in sorted(found)]


def group(advert_ids: Iterable[str], links: Iterable[Link]) -> list[tuple[str, ...]]:
    """Adverts grouped into vehicles by their links, in the order of the first advert of each."""
    order = list(advert_ids)
    leader = {advert_id: advert_id for advert_id in order}

    def find(advert_id: str) -> str:
        while leader[advert_id] != advert_id:
            leader[advert_id] = leader[leader[advert_id]]
            advert_id = leader[advert_id]
        return advert_id

    position = {advert_id: n for n, advert_id in enumerate(order)}
    for edge in links:
        if edge.a in leader and edge.b in leader:
            first, second = sorted((find(edge.a), find(edge.b)), key=position.__getitem__)
            leader[second] = first
    groups: dict[str, list[str]] = defaultdict(list)
    for advert_id in order:
        groups[find(advert_id)].append(advert_id)
    return [tuple(members) for members in groups.values()]


def _same_value(adverts: Sequence[Linkable], key: str) -> Iterable[tuple[int, int]]:
    by_value: dict[str, list[int]] = defaultdict(list)
    for n, advert in enumerate(adverts):
        value = advert.facts.get(key)
        if value:
            by_value[re.sub(r"[^A-Z0-9]", "", str(value).upper())].append(n)
    for members in by_value.values():
        yield from ((members[0], other) for other in members[1:])


def _sharing(words: Sequence[Sequence[str]], rules: LinkRules) -> set[tuple[int, int]]:
    """Pairs of adverts that share enough runs of words, boilerplate left out."""
    holders: dict[tuple[str, ...], set[int]] = defaultdict(set)
    size = rules.shingle_words
    for n, advert in enumerate(words):
        for start in range(len(advert) - size + 1):
            holders[tuple(advert[start : start + size])].add(n)
    shared: Counter[tuple[int, int]] = Counter()
    for members in holders.values():
        if 1 < len(members) <= rules.common_shingle:
            shared.update(combinations(sorted(members), 2))
    return {pair for pair, count in shared.items() if count >= rules.least_shared_shingles}


def _contradict(a: Mapping[str, Any], b: Mapping[str, Any], rules: LinkRules) -> bool:
    for key in (*_SETTLED, "vin", "plate"):
        if a.get(key) is not None and b.get(key) is not None and a[key] != b[key]:
            return True
    if a.get("year") and b.get("year"):
        gap = min(abs(x - y) for x in a["year"] for y in b["year"])
        if gap > rules.year_tolerance:
            return True
    if a.get("mileage") and b.get("mileage") and a.get("mileage_unit") == b.get("mileage_unit"):
        low, high = sorted((float(a["mileage"]), float(b["mileage"])))
        return high - low > rules.mileage_tolerance * high
    return False
