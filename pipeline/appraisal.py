"""What each vehicle needs and is worth: evidence, repair cost, value and place, for all of a search or for some."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from pipeline.held_readings import HeldReadings
from pipeline.intake import Progress
from pipeline.kept_costs import KeptCosts
from pipeline.money import Converted, in_buyers_currency
from pipeline.notes import Recorded
from pipeline.record import Record
from pipeline.schemas.decision import DecisionRules
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.schemas.traits import named_in
from pipeline.schemas.value_priors import ValuePriors
from pipeline.search import Search
from pipeline.types import Comparable, Evidence, Prospect, RepairEstimate, Valuation
from pipeline.valuation import value
from pipeline.vehicles import Vehicle, comparable_of, distance_of, evidence_of, title_of


@dataclass(frozen=True, slots=True)
class Appraiser:
    """One run's way from vehicles to prospects. What was costed once is not costed again."""

    search: Search
    as_of: date
    readings: HeldReadings
    known: Mapping[str, Recorded]  # ref -> what the buyer recorded
    knowledge: Knowledge
    decision: DecisionRules
    priors: ValuePriors
    costs: KeptCosts
    record: Record
    progress: Progress
    repairs: dict[str, RepairEstimate] = field(default_factory=dict)

    def evidence(self, vehicles: Sequence[Vehicle]) -> list[Evidence]:
        """What the adverts and the buyer's notes tell of each."""
        return evidence_of_each(vehicles, self.readings, self.as_of, self.known, self.knowledge)

    def price(self, evidence: Evidence) -> Converted:
        """The asking price in the buyer's currency, or why there is none."""
        return in_buyers_currency(evidence.facts.get("asking_price"), evidence.facts.get("currency"), self.search.buyer)

    def costed(self, evidence: Sequence[Evidence]) -> list[RepairEstimate]:
        """The repair cost of each."""
        with self.record.stage("costing"):
            fresh = [one for one in evidence if one.ref not in self.repairs]
            for n, repair in enumerate(self.costs.of(fresh), 1):
                self.repairs[repair.ref] = repair
                self.progress("costing", n, len(fresh))
            return [self.repairs[one.ref] for one in evidence]

    def comparables(
        self, vehicles: Sequence[Vehicle], evidence: Sequence[Evidence], admitted: Sequence[float]
    ) -> list[Comparable]:
        """Each as the value model sees it; `admitted`: expected cost of what its adverts own up to."""
        traits = (self.priors.traits_in(vehicle.newest[0].advert.text) for vehicle in vehicles)
        return [
            comparable_of(vehicle, one, self.price(one).amount, cost, words)
            for vehicle, one, cost, words in zip(vehicles, evidence, admitted, traits, strict=True)
        ]

    def prospects(
        self, vehicles: Sequence[Vehicle], evidence: Sequence[Evidence], teaching: Collection[str] | None = None
    ) -> list[Prospect]:
        """Everything ranking needs of each. Values come from the prices of these alone, or of those `teaching`."""
        record, repairs = self.record, self.costed(evidence)
        with record.stage("valuation"):
            self.progress("valuation", len(vehicles), len(vehicles))
            prices = [self.price(one) for one in evidence]
            admitted = [repair.admitted_mean for repair in repairs]
            comparables = self.comparables(vehicles, evidence, admitted)
            if teaching is not None:
                comparables = [one if one.ref in teaching else replace(one, kept=False) for one in comparables]
            values = value(comparables, self.priors, self.search.buyer, self.as_of)
        with record.stage("places"):
            return list(self._placed(zip(vehicles, evidence, prices, repairs, values, strict=True), len(vehicles)))

    def _placed(
        self, rows: Iterable[tuple[Vehicle, Evidence, Converted, RepairEstimate, Valuation]], count: int
    ) -> Iterable[Prospect]:
        road = self.decision.decision.visit.road_over_straight
        for n, (vehicle, evidence, price, repair, worth) in enumerate(rows, 1):
            self.progress("places", n, count)
            noted = self.known[vehicle.ref]
            miles, place = distance_of(vehicle, self.search, road)
            yield Prospect(
                ref=vehicle.ref,
                advert_ids=tuple(snapshot.advert.advert_id for snapshot in vehicle.newest),
                title=title_of(vehicle),
                evidence=evidence,
                repair=repair,
                valuation=worth,
                asking_price=price.amount if price.amount is not None else noted.agreed,
                currency=self.search.buyer.currency,
                distance_miles=miles,
                place=place,
                refused_price=price.note if price.amount is None else None,
                agreed_price=noted.agreed,
                least_price=noted.least_price(price.amount),
            )


def evidence_of_each(
    vehicles: Sequence[Vehicle],
    readings: HeldReadings,
    as_of: date,
    known: Mapping[str, Recorded],
    knowledge: Knowledge,
) -> list[Evidence]:
    """What the adverts and the buyer's notes tell of each; what they name of the packs' models is among the facts."""
    read = readings.of([snapshot for vehicle in vehicles for snapshot in vehicle.newest])
    return [_named(evidence_of(vehicle, read, as_of, known[vehicle.ref]), vehicle, knowledge) for vehicle in vehicles]


def _named(evidence: Evidence, vehicle: Vehicle, knowledge: Knowledge) -> Evidence:
    """With what the adverts name of the packs' models among the facts."""
    text = " ".join(f"{snapshot.advert.title or ''} {snapshot.advert.text}" for snapshot in vehicle.newest)
    return replace(evidence, facts={**named_in(knowledge, text), **evidence.facts})
