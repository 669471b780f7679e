"""From stored adverts to vehicles: which adverts are of one, its evidence, where it stands, as what it is valued."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from pipeline.doubts import doubts_of
from pipeline.held_readings import HeldReadings, in_parts
from pipeline.linking import LOOKED_AT, Linkable, group, link
from pipeline.notes.apply import Recorded, outdated
from pipeline.paths import data_folder
from pipeline.placenames import distance_in, place_in
from pipeline.places import Place, PlaceError, find_place, miles_between
from pipeline.schemas.linking import load_link_rules
from pipeline.schemas.places import load_place_words
from pipeline.search import Search
from pipeline.store import Store
from pipeline.types import MILES_PER_KM, Comparable, Evidence, Reading, Snapshot

READ_ON, FURTHER = ("writeoff",), 400  # subjects, and characters after their words
TRADE_SELLERS = ("trade", "dealer", "garage", "forecourt")


@dataclass(frozen=True, slots=True)
class Vehicle:
    """The adverts that look to be of one vehicle, the newest snapshot of each, newest advert first."""

    ref: str
    newest: tuple[Snapshot, ...]
    history: tuple[Snapshot, ...]
    because: Mapping[str, str]  # advert id -> why it is linked
    gone: bool = False  # none of its adverts was seen for long


def vehicles(store: Store, snapshots: Sequence[Snapshot], readings: HeldReadings, as_of: date) -> list[Vehicle]:
    """Links adverts of one vehicle, but for what the buyer keeps apart; numbers the vehicles by their first advert."""
    rules = load_link_rules(data_folder("rules"))
    by_advert: dict[str, list[Snapshot]] = {}
    for snapshot in snapshots:
        by_advert.setdefault(snapshot.advert.advert_id, []).append(snapshot)
    newest = {key: max(found, key=lambda s: (s.last_seen, s.snapshot_id)) for key, found in by_advert.items()}
    linkable = [
        Linkable(key, one.advert.text, {f.key: f.value for f in read[one.snapshot_id].facts if f.key in LOOKED_AT})
        for some in in_parts(list(newest.items()))
        for read in [readings.of([one for _, one in some])]
        for key, one in some
    ]
    apart = store.apart()
    links = [edge for edge in link(linkable, rules) if (min(edge.a, edge.b), max(edge.a, edge.b)) not in apart]
    store.keep_links([(edge.a, edge.b, edge.reason, edge.score) for edge in links])
    because: dict[str, str] = {}
    for edge in links:
        because.setdefault(edge.b, f"{edge.reason} as {edge.a}")
    numbers = store.advert_numbers()
    found = []
    for members in group(newest, links, apart):
        ordered = sorted(members, key=lambda key: (newest[key].last_seen, newest[key].snapshot_id), reverse=True)
        history = [snapshot for key in members for snapshot in by_advert[key]]
        ref = str(min(numbers[key] for key in members))
        found.append(
            Vehicle(
                ref,
                tuple(newest[key] for key in ordered),
                tuple(history),
                {k: because.get(k, "") for k in members},
                (as_of - max(newest[key].last_seen for key in members)).days > rules.gone_after_days,
            )
        )
    store.keep_refs({s.advert.advert_id: vehicle.ref for vehicle in found for s in vehicle.newest})
    return found


def evidence_of(
    vehicle: Vehicle, readings: Mapping[int, Reading], as_of: date, recorded: Recorded | None = None
) -> Evidence:
    """Facts of the newest advert that states each; claims of all its adverts, one a subject and status.

    What the buyer recorded since goes before the adverts' own words.
    """
    noted = recorded or Recorded()
    facts: dict[str, Any] = {}
    claims: dict[tuple[str, str], Any] = {}
    for reading in (noted.first, *(readings[snapshot.snapshot_id] for snapshot in vehicle.newest), noted.last):
        for fact in reading.facts:
            facts.setdefault(fact.key, fact.value)
        for claim in reading.claims:
            if reading is noted.first or not outdated(claim, noted.first.claims):
                claims.setdefault((claim.subject, claim.status), claim)
    years = facts.get("year")
    age = as_of.year + (as_of.month - 6.5) / 12 - sum(years) / len(years) if years else None
    miles = facts.get("mileage")
    if miles is not None and facts.get("mileage_unit") == "km":
        miles = miles * MILES_PER_KM
    words = max(len(snapshot.advert.text.split()) for snapshot in vehicle.newest)
    return Evidence(
        ref=vehicle.ref,
        facts=facts,
        claims=tuple(claims.values()),
        age_years=max(age, 0.0) if age is not None else None,
        mileage_miles=float(miles) if miles is not None else None,
        as_of=as_of,
        text_words=words,
        findings=dict(noted.findings or {}),
        passages=passages_of(vehicle, readings),
        doubts=doubts_of(
            [snapshot.advert.text for snapshot in vehicle.newest],
            [readings[snapshot.snapshot_id] for snapshot in vehicle.newest],
        ),
    )


def passages_of(vehicle: Vehicle, readings: Mapping[int, Reading]) -> dict[str, str]:
    """For each subject of READ_ON the words after each claim on it, where proof is offered in another sentence."""
    found: dict[str, list[str]] = {}
    for snapshot in vehicle.newest:
        for claim in readings[snapshot.snapshot_id].claims:
            if claim.subject in READ_ON and claim.end >= 0:
                found.setdefault(claim.subject, []).append(snapshot.advert.text[claim.start : claim.end + FURTHER])
    return {subject: "\n".join(words) for subject, words in found.items()}


def distance_of(vehicle: Vehicle, search: Search, road: float) -> tuple[float | None, str | None]:
    """Road miles from home and the place, from what was stated beside the advert, else from its text."""
    stated = next((s.advert.distance_miles for s in vehicle.newest if s.advert.distance_miles is not None), None)
    place = next((s.advert.place for s in vehicle.newest if s.advert.place), None)
    if stated is None:
        texts = (distance_in(s.advert.text, search.buyer.home) for s in vehicle.newest)
        stated = next((miles for miles in texts if miles is not None), None)
    if stated is not None:
        return stated, place
    try:
        home = find_place(search.buyer.home)
    except PlaceError:
        return None, place
    spot = spot_of(vehicle, (home.latitude, home.longitude))
    if spot is None:
        return None, place
    return miles_between((home.latitude, home.longitude), (spot.latitude, spot.longitude)) * road, place or spot.name


def spot_of(vehicle: Vehicle, near: tuple[float, float]) -> Place | None:
    """Where a vehicle stands, from the place stated beside an advert, else from the text; `near` settles names."""
    words = load_place_words(data_folder("rules"))
    for snapshot in vehicle.newest:
        named = snapshot.advert.place or next((str(v.value) for v in snapshot.advert.stated if v.key == "place"), None)
        spot = None
        if named:
            try:
                spot = find_place(named)
            except PlaceError:
                spot = None
        spot = spot or place_in(snapshot.advert.text, words, near=near)
        if spot is not None:
            return spot
    return None


def comparable_of(
    vehicle: Vehicle, evidence: Evidence, price: float | None, admitted: float, traits: tuple[str, ...]
) -> Comparable:
    """One vehicle as the value model sees it. `admitted`: expected cost of what the advert owns up to."""
    facts = evidence.facts
    said = {(claim.subject, claim.status) for claim in evidence.claims}
    scam = ("advance_payment", "present") in said or ("no_viewing", "present") in said
    seller = next((s.advert.seller for s in vehicle.newest if s.advert.seller), "") or ""
    kind = "auction" if facts.get("price_terms") == "auction" else "private"
    if any(word in seller.lower() for word in TRADE_SELLERS) or ("sold_as_seen", "present") in said:
        kind = "trade" if kind == "private" else kind
    years = facts.get("year")
    return Comparable(
        ref=evidence.ref,
        asking_price=price,
        price_terms=facts.get("price_terms"),
        year=sum(years) / len(years) if years else None,
        mileage_miles=evidence.mileage_miles,
        fuel=facts.get("fuel"),
        engine_litres=facts.get("engine_litres"),
        gearbox=facts.get("gearbox"),
        service_history=facts.get("service_history"),
        test_months_left=_months_left(facts, evidence.as_of),
        disclosed_repair=admitted,
        seller_kind=kind,  # type: ignore[arg-type]
        modified=("modified", "present") in said,
        written_off=("writeoff", "present") in said,
        owners=facts.get("owners"),
        kept=not scam and ("spares_repair", "present") not in said,
        traits=traits,
    )


def _months_left(facts: Mapping[str, Any], as_of: date) -> float | None:
    if facts.get("test_state") in ("expired", "none"):
        return 0.0
    if facts.get("test_expiry"):
        year, month = (int(part) for part in str(facts["test_expiry"]).split("-")[:2])
        return float(max((year - as_of.year) * 12 + month - as_of.month, 0))
    return None


def title_of(vehicle: Vehicle) -> str:
    """The advert's own title, else its first words, at most 70 characters."""
    newest = vehicle.newest[0].advert
    words = " ".join((newest.title or newest.text).split())
    return words if len(words) <= 70 else words[:69].rsplit(" ", 1)[0] + "…"
