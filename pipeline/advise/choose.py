"""Which of the pool each member should look at: a quick look at all, then the few in full at the member's own terms."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipeline.advise.pool import Pool, Terms
from pipeline.costing.estimate import TOGETHER
from pipeline.intake import Progress
from pipeline.ranking import Screened, rank, screen
from pipeline.types import Buyer, Prospect, Purpose, Ranked, RepairEstimate, VehicleView

BEST = 3
LOOKED_AT = 20  # of those that the quick look puts first, so many are ranked in full
READY = 10  # and so many of those that the pool's own ranking found ready to travel to
AT_ONCE = 10  # members whose estimates are held in memory together
TRIED = 6  # vehicles ranked in full where it is asked what would change a member's lot
PURPOSES: tuple[Purpose, ...] = ("everyday", "working", "project", "original")


def choose(
    terms: Terms, buyers: Sequence[Buyer], progress: Progress, done: int, total: int
) -> Iterator[tuple[list[VehicleView], list[str]]]:
    """For each buyer the best few, best first, and where none is worth a visit what would change that."""
    for start in range(0, len(buyers), AT_ONCE):
        some = buyers[start : start + AT_ONCE]
        looks = [_looked(terms, buyer) for buyer in some]
        repairs = _priced(terms, some, [places for _, _, places in looks])
        for n, (buyer, (prospects, screened, places)) in enumerate(zip(some, looks, strict=True)):
            progress("members", done + start + n + 1, total)
            exact = [replace(prospects[place], repair=repairs[n][place]) for place in places]
            rows = rank(exact, replace(buyer, outside_option=screened.outside), terms.pool.decision)
            best = [row for row in rows if row.verdict != "leave"][:BEST]
            changes = [] if best else what_would_change(terms, buyer, prospects, screened)
            yield _views(terms.pool, best, exact), changes


def _looked(terms: Terms, buyer: Buyer) -> tuple[list[Prospect], Screened, list[int]]:
    prospects = terms.prospects(buyer)
    screened = screen(prospects, terms.spread, buyer, terms.pool.decision)
    return prospects, screened, shortlist(screened, terms.pool.views)


def shortlist(screened: Screened, views: Sequence[VehicleView]) -> list[int]:
    """Places in the pool, in its order, of what is to be ranked in full.

    What can be set out to at once stands before what must be rung about, and that hangs on the advert more than on the
    member: so the best of those that the pool's own ranking found ready are looked at too.
    """
    possible = [n for n in np.argsort(-screened.worth) if np.isfinite(screened.worth[n]) and not screened.stopped[n]]
    ready = [n for n in possible if views[n].ranked.verdict == "travel"][:READY]
    return sorted(int(n) for n in {*possible[:LOOKED_AT], *ready})


def _priced(terms: Terms, buyers: Sequence[Buyer], wanted: Sequence[Sequence[int]]) -> list[dict[int, RepairEstimate]]:
    """Each member's repair estimates of the vehicles on their list; every vehicle is believed once for all of them."""
    found: list[dict[int, RepairEstimate]] = [{} for _ in buyers]
    engines = [terms.engine_for(buyer) for buyer in buyers]
    union = sorted({place for places in wanted for place in places})
    for start in range(0, len(union), TOGETHER):
        chunk = union[start : start + TOGETHER]
        believed = terms.believed(chunk)
        for repairs, engine, places in zip(found, engines, wanted, strict=True):
            repairs |= {place: engine.priced(believed, chunk.index(place)) for place in places if place in chunk}
    return found


def _views(pool: Pool, rows: Sequence[Ranked], prospects: Sequence[Prospect]) -> list[VehicleView]:
    by_ref = {prospect.ref: prospect for prospect in prospects}
    views = {view.ref: view for view in pool.views}
    return [replace(views[row.ref], ranked=row, prospect=by_ref[row.ref]) for row in rows]


def what_would_change(terms: Terms, buyer: Buyer, prospects: list[Prospect], screened: Screened) -> list[str]:
    """Which single change of budget, needs, purpose or distance would leave a vehicle worth a call or a visit."""
    found = []
    if buyer.budget_total is not None:
        free = replace(buyer, budget_total=None)
        if best := _first(terms, free, prospects):
            row, prospect = best
            need = (row.price_to_pay or 0.0) + prospect.repair.admitted_mean
            if need > buyer.budget_total:
                found.append(
                    f"a budget of about {buyer.currency} {np.ceil(need / 50) * 50:,.0f} instead of "
                    f"{buyer.currency} {buyer.budget_total:,.0f}: {prospect.title}"
                )
    for key in buyer.must:
        rest = {name: values for name, values in buyer.must.items() if name != key}
        if best := _first(terms, replace(buyer, must=rest), prospects):
            found.append(f"doing without the need of a certain {key.replace('_', ' ')}: {best[1].title}")
    for purpose in PURPOSES:
        if purpose != buyer.purpose and (best := _first(terms, replace(buyer, purpose=purpose), prospects)):
            found.append(f"another purpose, {purpose}: {best[1].title}")
    near = [replace(prospect, distance_miles=0.0) for prospect in prospects]
    if best := _first(terms, buyer, near):
        place = best[1].place or "where it stands"
        found.append(f"somebody of the club near {place} who looks at it: {best[1].title}")
    if not found:
        found.append("no single change of budget, needs, purpose or distance: wait for other adverts")
    return found


def _first(terms: Terms, buyer: Buyer, prospects: list[Prospect]) -> tuple[Ranked, Prospect] | None:
    """The first that would be worth a call or a visit to such a buyer, repair cost at the terms looked through with."""
    screened = screen(prospects, terms.spread, buyer, terms.pool.decision)
    places = shortlist(screened, terms.pool.views)
    places.sort(key=lambda place: -screened.worth[place])
    tried = [prospects[place] for place in places[:TRIED]]
    for row in rank(tried, replace(buyer, outside_option=screened.outside), terms.pool.decision):
        if row.verdict != "leave":
            return row, next(prospect for prospect in tried if prospect.ref == row.ref)
    return None
