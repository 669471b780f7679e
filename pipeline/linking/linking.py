"""Adverts of one vehicle: the same plate or VIN, or near-equal text whose facts agree.

Pairs are found through shared runs of words (shingles; Broder 1997, "On the resemblance and containment of
documents"), so that not every advert is compared with every other.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import fsum
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rapidfuzz import fuzz

from pipeline.schemas.linking import LinkRules
from pipeline.types import MILES_PER_KM

_WORD = re.compile(r"[a-z0-9]+")
_SETTLED = ("fuel", "gearbox", "engine_litres")  # facts that a vehicle does not change
LOOKED_AT = frozenset({*_SETTLED, "vin", "plate", "year", "mileage", "mileage_unit"})  # all facts that linking uses


@dataclass(frozen=True, slots=True)
class Linkable:
    """One advert as linking sees it: its newest text and, of its chosen facts, those LOOKED_AT."""

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
    near: dict[tuple[int, int], Link] = {}
    texts = [" ".join(_WORD.findall(advert.text.lower())) for advert in adverts]
    runs = _runs(texts, rules.shingle_words)
    whole = [_weight(runs.of(n), runs.holders, alone) for n, alone in enumerate(runs.own)]
    for i, j in _sharing(runs, rules):
        if (i, j) in found or _contradict(adverts[i].facts, adverts[j].facts, rules):
            continue
        agreeing = _agreeing(adverts[i].facts, adverts[j].facts)
        own = _weight(runs.of(i) & runs.of(j), runs.holders) / min(whole[i], whole[j])
        if own < _enough(adverts[i].facts, adverts[j].facts, agreeing, rules):
            continue
        likeness = fuzz.token_set_ratio(texts[i], texts[j])
        if likeness < rules.least_likeness:
            continue
        told = ", ".join(agreeing).replace("_", " ")
        alike = f"alike in {told}, " if told else ""
        reason = f"near-equal text ({likeness:.0f} of 100), {alike}no fact that differs"
        near[i, j] = Link(adverts[i].advert_id, adverts[j].advert_id, reason, likeness / 100)
    found |= _without_torn(near, adverts, rules)
    return [found[pair] for pair in sorted(found)]


def _without_torn(
    near: Mapping[tuple[int, int], Link], adverts: Sequence[Linkable], rules: LinkRules
) -> dict[tuple[int, int], Link]:
    """Without the links of an advert that states too little and so fits two others that contradict each other."""
    partners: dict[int, list[int]] = defaultdict(list)
    for i, j in near:
        partners[i].append(j)
        partners[j].append(i)
    torn = {
        n
        for n, others in partners.items()
        if any(_contradict(adverts[a].facts, adverts[b].facts, rules) for a, b in combinations(others, 2))
    }
    kept = {}
    for (i, j), edge in near.items():
        shared = _agreeing(adverts[i].facts, adverts[j].facts)
        if "mileage" in shared or not ({i, j} & torn):
            kept[i, j] = edge
    return kept


def group(
    advert_ids: Iterable[str], links: Iterable[Link], apart: Collection[tuple[str, str]] = frozenset()
) -> list[tuple[str, ...]]:
    """Adverts grouped into vehicles by their links, in the order of the first advert of each.

    The strongest links go first. A link that would bring together two adverts of a pair in `apart` is not followed.
    """
    order = list(advert_ids)
    leader = {advert_id: advert_id for advert_id in order}

    def find(advert_id: str) -> str:
        while leader[advert_id] != advert_id:
            leader[advert_id] = leader[leader[advert_id]]
            advert_id = leader[advert_id]
        return advert_id

    position = {advert_id: n for n, advert_id in enumerate(order)}
    for edge in sorted(links, key=lambda edge: -edge.score):
        if edge.a in leader and edge.b in leader:
            first, second = sorted((find(edge.a), find(edge.b)), key=position.__getitem__)
            if not any({find(a), find(b)} == {first, second} for a, b in apart if a in leader and b in leader):
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
            by_value[_plain(str(value))].append(n)
    for members in by_value.values():
        yield from ((members[0], other) for other in members[1:])


@dataclass(frozen=True, slots=True)
class _Runs:
    """The runs of words of each text that other texts hold too, as numbers; of the others only how many they are.

    Nearly all runs are of one text alone: held as words, those of a hundred thousand adverts would fill the memory.
    """

    shared: list[NDArray[np.intp]]  # a text: its runs, in any order
    own: list[int]  # a text: how many runs no other holds
    holders: list[int]  # a run: in how many texts it stands

    def of(self, n: int) -> frozenset[int]:
        """The shared runs of a text."""
        return frozenset(self.shared[n].tolist())


def _runs(texts: Sequence[str], size: int) -> _Runs:
    """The runs of `size` words. They are told apart by 64 bits of hash: ten million make one mistake in a million."""
    hashed = []
    for text in texts:
        words = text.split()
        found = {hash(tuple(words[start : start + size])) for start in range(len(words) - size + 1)}
        hashed.append(np.fromiter(found, np.int64, len(found)))
    _, numbers, counts = np.unique(
        np.concatenate([np.zeros(0, np.int64), *hashed]), return_inverse=True, return_counts=True
    )
    several = counts > 1
    renumbered = np.cumsum(several) - 1
    shared, own, start = [], [], 0
    for mine in hashed:
        some = numbers[start : start + len(mine)]
        with_others = several[some]
        shared.append(renumbered[some[with_others]])
        own.append(int(len(mine) - with_others.sum()))
        start += len(mine)
    return _Runs(shared, own, counts[several].tolist())


def _weight(runs: Iterable[int], holders: Sequence[int], alone: int = 0) -> float:
    """How much text of their own these runs are: a run counts less the more adverts hold it, one `alone` in full."""
    return fsum((alone, *(1 / (holders[run] - 1) for run in runs)))  # the same sum in whatever order the runs come


def _sharing(runs: _Runs, rules: LinkRules) -> Iterable[tuple[int, int]]:
    """Pairs of adverts that share enough runs of words, boilerplate left out; by the later of the two."""
    held: dict[int, list[int]] = defaultdict(list)
    for n, own in enumerate(runs.shared):
        shared: Counter[int] = Counter()
        for run in own.tolist():
            if runs.holders[run] <= rules.common_shingle:
                shared.update(held[run])
                held[run].append(n)
        yield from ((other, n) for other, count in shared.items() if count >= rules.least_shared_shingles)


def _agreeing(a: Mapping[str, Any], b: Mapping[str, Any]) -> list[str]:
    """The facts that both state, alike: for two adverts that do not contradict each other."""
    return [key for key in ("mileage", "year", *_SETTLED) if a.get(key) is not None and b.get(key) is not None]


def _enough(a: Mapping[str, Any], b: Mapping[str, Any], agreeing: Sequence[str], rules: LinkRules) -> float:
    """How much own text two adverts must share, by the facts in which they agree."""
    if not agreeing:
        return rules.least_own_share_without_facts
    if "mileage" in agreeing:
        one, other = float(a["mileage"]), float(b["mileage"])
        rounded = one % 100 == 0 or other % 100 == 0
        if one == other or (rounded and abs(one - other) <= rules.mileage_rounding):
            return rules.least_own_share_with_mileage
    return rules.least_own_share


def _contradict(a: Mapping[str, Any], b: Mapping[str, Any], rules: LinkRules) -> bool:
    for key in (*_SETTLED, "vin", "plate"):
        if a.get(key) is not None and b.get(key) is not None and _plain(a[key]) != _plain(b[key]):
            return True
    if a.get("year") and b.get("year"):
        gap = min(abs(x - y) for x in a["year"] for y in b["year"])
        if gap > rules.year_tolerance:
            return True
    if a.get("mileage") is not None and b.get("mileage") is not None:
        return not _same_mileage(a, b, rules)
    return False


def _plain(value: Any) -> Any:
    return re.sub(r"[^A-Z0-9]", "", value.upper()) if isinstance(value, str) else value


def _same_mileage(a: Mapping[str, Any], b: Mapping[str, Any], rules: LinkRules) -> bool:
    """The same number, whatever its unit was taken to be, or the same distance."""
    read = float(a["mileage"]), float(b["mileage"])
    miles = [
        number * (MILES_PER_KM if facts.get("mileage_unit") == "km" else 1)
        for number, facts in zip(read, (a, b), strict=True)
    ]
    return any(max(pair) - min(pair) <= rules.mileage_tolerance * max(pair) for pair in (read, miles))
