"""Beliefs about all items of a vehicle in little memory: those of a hundred thousand vehicles are held at once."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import overload

import numpy as np
from numpy.typing import NDArray

from pipeline.types import ItemBelief, Reason

AT_HAND = 8  # vehicles whose beliefs stay spelt out


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """What items have in common in all vehicles, (items,) each; kept once."""

    ids: tuple[str, ...]
    names: tuple[str, ...]
    groups: tuple[str, ...]
    kinds: tuple[str, ...]
    subjects: tuple[tuple[str, ...], ...]
    seen_on_viewing: tuple[float, ...]

    def as_json(self) -> str:
        """For `parts_of`."""
        return json.dumps([self.ids, self.names, self.groups, self.kinds, self.subjects, self.seen_on_viewing])


@lru_cache(maxsize=8)
def parts_of(told: str) -> Parts:
    """The same object for the same words."""
    ids, names, groups, kinds, subjects, seen = json.loads(told)
    return Parts(tuple(ids), tuple(names), tuple(groups), tuple(kinds), tuple(map(tuple, subjects)), tuple(seen))


class ItemBeliefs(Sequence[ItemBelief]):
    """A sequence of `ItemBelief` that takes some 7 kB. Its members are made when they are looked at."""

    __slots__ = ("admitted", "numbers", "parts", "told")

    def __init__(self, parts: Parts, numbers: NDArray[np.float64], admitted: NDArray[np.bool_], told: bytes) -> None:
        """`numbers`: (4, items), P(sound), P(minor), P(major), expected cost; `told`: reasons as `packed_reasons`."""
        self.parts, self.numbers, self.admitted, self.told = parts, numbers, admitted, told

    @staticmethod
    def of(items: Sequence[ItemBelief]) -> ItemBeliefs:
        """Any sequence of beliefs as this one."""
        if isinstance(items, ItemBeliefs):
            return items
        parts = Parts(
            tuple(item.item for item in items),
            tuple(item.name for item in items),
            tuple(item.group for item in items),
            tuple(item.kind for item in items),
            tuple(item.subjects for item in items),
            tuple(item.seen_on_viewing for item in items),
        )
        rows = [(item.sound, item.minor, item.major, item.expected_cost) for item in items]
        numbers = np.array(rows, np.float64).reshape(-1, 4).T
        admitted = np.array([item.admitted for item in items], bool)
        return ItemBeliefs(parts, numbers, admitted, packed_reasons(item.reasons for item in items))

    @property
    def bad(self) -> NDArray[np.float64]:
        """P(minor or major), (items,)."""
        return np.asarray(self.numbers[1] + self.numbers[2])

    @property
    def expected(self) -> NDArray[np.float64]:
        """Expected cost, buyer's currency, (items,)."""
        return np.asarray(self.numbers[3])

    def dearest(self, count: int) -> list[int]:
        """Places of the items that are expected to cost most, dearest first, equals in their order."""
        return [int(place) for place in np.argsort(-self.expected, kind="stable")[:count]]

    def __len__(self) -> int:
        return len(self.parts.ids)

    @overload
    def __getitem__(self, place: int) -> ItemBelief: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[ItemBelief, ...]: ...
    def __getitem__(self, place: int | slice) -> ItemBelief | tuple[ItemBelief, ...]:
        return _spelt(self)[place]

    def __iter__(self) -> Iterator[ItemBelief]:
        return iter(_spelt(self))


@lru_cache(maxsize=AT_HAND)
def _spelt(items: ItemBeliefs) -> tuple[ItemBelief, ...]:
    parts = items.parts
    rows = zip(
        parts.ids, parts.names, parts.groups, parts.kinds, *items.numbers.tolist(), items.admitted.tolist(),
        parts.subjects, parts.seen_on_viewing, unpacked_reasons(items.told), strict=True,
    )  # fmt: skip
    return tuple(ItemBelief(*row) for row in rows)  # type: ignore[arg-type]


def packed_reasons(reasons: Iterable[Sequence[Reason]]) -> bytes:
    """Reasons, some an item, as bytes: most are the same sentence, so that little is left of them."""
    rows = [[(one.text, one.rule, one.quote) for one in some] for some in reasons]
    return zlib.compress(json.dumps(rows).encode("ascii"), 1)


def unpacked_reasons(told: bytes) -> list[tuple[Reason, ...]]:
    """What `packed_reasons` packed."""
    return [tuple(Reason(*row) for row in some) for some in json.loads(zlib.decompress(told))]
