"""The buyer's word that an advert is not of the vehicle to which it was linked, or that it may be after all."""

from __future__ import annotations

from datetime import date

from pipeline.errors import UsageError
from pipeline.store import Store


def unlink(store: Store, ref: str, advert: str, today: date, *, undo: bool = False) -> tuple[str, ...]:
    """Keeps an advert (its id, or its number) apart from the others of a vehicle. Gives the ids of those others.

    `undo`: takes that word back, so that it is linked again where the rules say so; `ref` is then the vehicle that it
    was taken out of. Raises UsageError when the advert is not of that vehicle, or was not kept apart from it.
    """
    refs, numbers = store.refs(), store.advert_numbers()
    named = [one for one in numbers if one == advert] or [one for one, n in numbers.items() if str(n) == advert]
    if not named:
        raise UsageError(f"no advert is called {advert!r}", remedy="Its id stands in 'viewworthy show REF'.")
    own = named[0]
    if not any(of == ref for of in refs.values()):
        raise UsageError(f"no vehicle has the number {ref!r}", remedy="Give a number from 'viewworthy rank'.")
    members = tuple(one for one in numbers if refs.get(one) == ref and one != own)
    if undo:
        kept = store.apart()
        members = tuple(one for one in members if (min(one, own), max(one, own)) in kept)
        if not members:
            raise UsageError(f"{own} is not kept apart from vehicle {ref}", remedy="There is nothing to take back.")
    elif refs.get(own) != ref or not members:
        raise UsageError(
            f"{own} is not linked to another advert as vehicle {ref}",
            remedy="See the links with 'viewworthy show REF'.",
        )
    store.keep_apart([(own, other) for other in members], today, apart=not undo)
    return members
