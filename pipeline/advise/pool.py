"""What members share: the pool as it was read and believed once, and what members of like terms reckon alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.costing import learnt_knowledge
from pipeline.costing.estimate import SAMPLES, SEED, TOGETHER, Believed, Engine
from pipeline.money import in_buyers_currency
from pipeline.paths import data_folder
from pipeline.places import Place, find_place, miles_between
from pipeline.run import Result
from pipeline.schemas.decision import DecisionRules
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.value_priors import ValuePriors, load_value_priors
from pipeline.search import Search
from pipeline.types import Buyer, Evidence, Prospect, RepairEstimate, Valuation, VehicleView
from pipeline.valuation import value
from pipeline.vehicles import Vehicle, comparable_of, distance_of, spot_of

Array = NDArray[np.float64]


@dataclass
class Pool:
    """The vehicles that can still be had, and where they stand."""

    search: Search
    views: tuple[VehicleView, ...]
    vehicles: tuple[Vehicle, ...]  # in the order of `views`
    decision: DecisionRules
    spots: list[Place | None] = field(default_factory=list)
    stated: list[tuple[float | None, str | None]] = field(default_factory=list)  # distances from the pool's own home
    # Of every vehicle, those that can no longer be had too: what was found on them teaches wear.
    taught: tuple[Evidence, ...] = ()

    @staticmethod
    def of(result: Result, search: Search, decision: DecisionRules) -> Pool:
        """The pool of a run, without what is sold, bought or probably gone."""
        by_ref = {vehicle.ref: vehicle for vehicle in result.found}
        views = tuple(view for view in result.view.vehicles if not view.gone)
        pool = Pool(search, views, tuple(by_ref[view.ref] for view in views), decision)
        home = find_place(search.buyer.home)
        road = decision.decision.visit.road_over_straight
        pool.spots = [spot_of(vehicle, (home.latitude, home.longitude)) for vehicle in pool.vehicles]
        pool.stated = [distance_of(vehicle, search, road) for vehicle in pool.vehicles]
        known = {view.ref: view.prospect.evidence for view in (*result.view.vehicles, *result.view.apart)}
        pool.taught = tuple(known[vehicle.ref] for vehicle in result.found)
        return pool

    @property
    def evidence(self) -> list[Evidence]:
        return [view.prospect.evidence for view in self.views]

    def distances(self, home: str) -> list[tuple[float | None, str | None]]:
        """Road miles from a member's home and the place; a distance stated in an advert holds for the pool's own."""
        if home == self.search.buyer.home:
            return self.stated
        at, road = find_place(home), self.decision.decision.visit.road_over_straight
        found: list[tuple[float | None, str | None]] = []
        for spot, (_, named) in zip(self.spots, self.stated, strict=True):
            if spot is None:
                found.append((None, named))
            else:
                straight = miles_between((at.latitude, at.longitude), (spot.latitude, spot.longitude))
                found.append((straight * road, named or spot.name))
        return found


class Terms:
    """Members of the same packs, region and currency: beliefs once for all of them, and values once a guide price.

    Parts wear as the findings of the pool's search taught, under these members' packs.
    """

    def __init__(self, pool: Pool, buyer: Buyer) -> None:
        """`buyer`: the first of them, at whose terms the pool is looked through."""
        rules = data_folder("rules")
        extra = [pool.search.packs] if pool.search.packs.is_dir() else []
        self.pool, self.buyer = pool, buyer
        self.knowledge, _, _ = learnt_knowledge(pool.taught, load_knowledge(buyer.packs, rules, extra), buyer)
        self.priors: ValuePriors = load_value_priors(buyer.packs, rules, extra)
        self.engine = Engine(self.knowledge, buyer, SAMPLES, SEED)
        self.repairs = self._repairs()
        self.spread: Array = np.array([float(repair.samples.std()) for repair in self.repairs])
        self._values: dict[tuple[object, ...], list[Valuation]] = {}

    def _repairs(self) -> list[RepairEstimate]:
        """Everybody's estimate at the first member's terms; the pool's own where those are the pool's."""
        own = self.pool.search.buyer
        if key_of(own) == key_of(self.buyer):
            return [view.prospect.repair for view in self.pool.views]
        evidence = self.pool.evidence
        chunks = [evidence[n : n + TOGETHER] for n in range(0, len(evidence), TOGETHER)]
        return [repair for chunk in chunks for repair in self.engine.run(chunk)]

    def prospects(self, buyer: Buyer) -> list[Prospect]:
        """The pool as this member sees it, repair cost yet at the first member's terms."""
        prices = [
            in_buyers_currency(e.facts.get("asking_price"), e.facts.get("currency"), buyer) for e in self.pool.evidence
        ]
        values = self._valued(buyer, [price.amount for price in prices])
        same = buyer.currency == self.pool.search.buyer.currency
        return [
            replace(
                view.prospect,
                repair=repair,
                valuation=valued,
                asking_price=price.amount if price.amount is not None or not same else view.prospect.asking_price,
                currency=buyer.currency,
                distance_miles=miles,
                place=place,
                refused_price=price.note if price.amount is None else None,
                agreed_price=view.prospect.agreed_price if same else None,
                least_price=view.prospect.least_price if same else None,
            )
            for view, repair, valued, price, (miles, place) in zip(
                self.pool.views, self.repairs, values, prices, self.pool.distances(buyer.home), strict=True
            )
        ]

    def _valued(self, buyer: Buyer, prices: Sequence[float | None]) -> list[Valuation]:
        """Sound values: what such vehicles fetch is the same for all who give the same guide price."""
        key = (buyer.guide_price, tuple(sorted(buyer.rates.items())))
        if key not in self._values:
            comparables = [
                comparable_of(vehicle, view.prospect.evidence, price, repair.admitted_mean, self._traits(vehicle))
                for vehicle, view, price, repair in zip(
                    self.pool.vehicles, self.pool.views, prices, self.repairs, strict=True
                )
            ]
            self._values[key] = value(comparables, self.priors, buyer, self.pool.search.as_of)
        return self._values[key]

    def _traits(self, vehicle: Vehicle) -> tuple[str, ...]:
        return self.priors.traits_in(vehicle.newest[0].advert.text)

    def believed(self, places: Sequence[int]) -> Believed:
        """What the network makes of at most TOGETHER vehicles of the pool."""
        return self.engine.believed([self.pool.views[place].prospect.evidence for place in places])

    def engine_for(self, buyer: Buyer) -> Engine:
        """The engine at a member's terms."""
        return self.engine.for_buyer(buyer)


def key_of(buyer: Buyer) -> tuple[object, ...]:
    """What members must have in common to share beliefs."""
    return (buyer.packs, buyer.region, buyer.currency)
