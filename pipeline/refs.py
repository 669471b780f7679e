"""What a person types for a vehicle: its number, a file's name, or a piece of its title; and what it could be."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Protocol, TypeVar

from pipeline.errors import UsageError, ViewworthyError


class Advertised(Protocol):
    """What an advert may be called."""

    @property
    def advert_id(self) -> str: ...
    @property
    def source(self) -> str: ...


class Named(Protocol):
    """A vehicle as far as it can be asked for."""

    @property
    def ref(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def texts(self) -> Sequence[Advertised]: ...


V = TypeVar("V", bound=Named)


def find_vehicle(vehicles: Sequence[V], ref: str) -> V:
    """The one vehicle that `ref` fits. Raises UsageError that lists several, or names the nearest of none."""
    wanted = ref.strip().lower()
    if wanted.isdecimal() and len(wanted) < 4 and vehicles and not any(v.ref == wanted for v in vehicles):
        numbers = sorted(int(v.ref) for v in vehicles)
        raise UsageError(
            f"no vehicle has the number {wanted}",
            remedy=f"Numbers go from {numbers[0]} to {numbers[-1]}; 'viewworthy rank' lists them.",
        )
    tests: tuple[Callable[[V], bool], ...] = (
        lambda v: v.ref == wanted,
        lambda v: is_called(v.ref, v.texts, wanted),
        lambda v: wanted in v.title.lower() or any(wanted in t.source.lower() for t in v.texts),
    )
    for test in tests:
        found = [vehicle for vehicle in vehicles if wanted and test(vehicle)]
        if len(found) == 1:
            return found[0]
        if found:
            some = "; ".join(f"{v.ref} {v.title}" for v in found[:6])
            more = f" and {len(found) - 6} more" if len(found) > 6 else ""
            raise UsageError(f"{ref!r} fits {len(found)} vehicles: {some}{more}", remedy="Give the number.")
    if not vehicles:
        raise UsageError("there is no vehicle here yet", remedy="Save adverts into inbox/ and run 'viewworthy add'.")
    names = {v.title.lower(): f"{v.ref} {v.title}" for v in vehicles}
    names |= {_stem(t.source): f"{v.ref} {t.source}" for v in vehicles for t in v.texts}
    near = list(dict.fromkeys(names[n] for n in difflib.get_close_matches(wanted, names, n=3, cutoff=0.5)))
    hint = f"Did you mean {'; '.join(near)}? " if near else ""
    raise UsageError(f"no vehicle fits {ref!r}", remedy=f"{hint}Give a number from 'viewworthy rank'.")


def is_called(ref: str, adverts: Iterable[Advertised], word: str) -> bool:
    """Whether a word is a vehicle's number, the id of one of its adverts or a file's name."""
    wanted = word.strip().lower()
    return ref == wanted or any(wanted in (a.advert_id.lower(), a.source.lower(), _stem(a.source)) for a in adverts)


def completions(folder: Path, begun: str) -> list[tuple[str, str]]:
    """(number, title) of the vehicles of the last run that what was begun could mean; empty on any trouble."""
    from pipeline.store import open_store

    try:
        with open_store(folder, wait_seconds=0.3, create=False) as store:
            rows = store.last_results()
    except ViewworthyError:
        return []
    wanted = begun.lower()
    numbers = [(str(row["ref"]), str(row["title"])) for row in rows]
    return [(ref, title) for ref, title in numbers if ref.startswith(wanted) or (wanted and wanted in title.lower())]


def _stem(source: str) -> str:
    return Path(source.lower()).stem
