"""The run: stages in order. Plain functions; what is unchanged is not read again."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.money import in_buyers_currency
from pipeline.output import as_json, changes_since
from pipeline.paths import data_folder
from pipeline.rules import fingerprint
from pipeline.search import Search
from pipeline.store import Store, price_points
from pipeline.types import (
    AdvertView,
    Ingested,
    Prospect,
    Ranked,
    Reading,
    Reason,
    Refusal,
    RepairEstimate,
    ReportView,
    Snapshot,
    SourceFile,
    Valuation,
    VehicleView,
)
from pipeline.vehicles import Vehicle, comparable_of, distance_of, evidence_of, title_of, vehicles

Progress = Callable[[str, int, int], None]  # stage, done, of how many

CAUTIONS = (
    "An estimate is a reasoned guess from an advert, no inspection: have a licensed inspector look before you pay.",
    "Never go under a vehicle that stands on a jack alone; keep clear of moving belts, fans and hot coolant.",
    "Petrol, gas bottles and airbags can kill: no flame, no unplugging, leave them to those licensed for them.",
    "Make sure that you are insured before you drive a stranger's vehicle, and that it may be on the road.",
    "Go with somebody, meet at the address on the papers, and pay nothing before you have seen vehicle and papers.",
    "Local law and a licensed inspection come before anything said here.",
)


@dataclass(frozen=True, slots=True)
class Added:
    """What `add` did: every advert seen is new, changed or the same as before; files that could not be read."""

    files: int
    new: int
    changed: int
    same: int
    refusals: tuple[Refusal, ...]

    @property
    def seen(self) -> int:
        return self.new + self.changed + self.same


@dataclass(frozen=True, slots=True)
class Result:
    view: ReportView
    read_now: int  # snapshots read in this run


def _quiet(stage: str, done: int, total: int) -> None:
    return None


# ---- ingest -----------------------------------------------------------------


def add(store: Store, sources: Iterable[SourceFile | Refusal], today: date, progress: Progress = _quiet) -> Added:
    """Keeps every file's bytes, then reads it. A file that cannot be read is kept, listed, and changes nothing else."""
    from pipeline.ingest import read_source

    counts = {"new": 0, "changed": 0, "same": 0}
    refusals: list[Refusal] = []
    files = 0
    for source in sources:
        files += 1
        progress("adding", files, 0)
        if isinstance(source, Refusal):
            refusals.append(source)
            store.keep_refusals([source], today)
            continue
        store.keep_raw(source, today)
        got: Ingested = read_source(source)
        with store.transaction():
            store.forget_refusals_of(source.name)
            store.keep_refusals(got.refusals, today)
            for advert in got.adverts:
                counts[store.keep_advert(advert, today)] += 1
        refusals += got.refusals
    return Added(files, counts["new"], counts["changed"], counts["same"], tuple(refusals))


# ---- nlp --------------------------------------------------------------------


def reading_version() -> str:
    """What decides whether a snapshot must be read again: the reading rules and models of this program."""
    rules, models = data_folder("rules"), data_folder("models")
    parts = [rules / name for name in ("subjects.yaml", "subjects", "scope", "facts", "regions")]
    parts += sorted(p for p in models.iterdir() if p.is_dir())
    code = Path(__file__).parent / "nlp"
    return fingerprint([p for p in (*parts, code) if p.exists()])


def read(store: Store, snapshots: Sequence[Snapshot], progress: Progress = _quiet) -> int:
    """Reads the snapshots that no reading of this version covers. Returns how many."""
    version = reading_version()
    unread = store.unread(version)
    todo = [snapshot for snapshot in snapshots if snapshot.snapshot_id in unread]
    if not todo:
        return 0
    from pipeline.nlp.advert import AdvertReader

    reader = AdvertReader(data_folder("rules"))
    readings: dict[int, Reading] = {}
    for done, snapshot in enumerate(todo, 1):
        progress("reading", done, len(todo))
        advert = snapshot.advert
        readings[snapshot.snapshot_id] = reader.read(advert.text, snapshot.saved_on, advert.stated, advert.title)
    store.keep_readings(readings, version)
    return len(todo)


# ---- the whole ----------------------------------------------------------------


def bring_up_to_date(store: Store, search: Search, progress: Progress = _quiet) -> Result:
    """Reads what is new, works out costs and values, ranks, and gives all that the report shows."""
    from pipeline.costing import estimate
    from pipeline.ranking import rank
    from pipeline.schemas.decision import load_decision
    from pipeline.schemas.knowledge import load_knowledge
    from pipeline.schemas.subjects import load_subjects
    from pipeline.schemas.value_priors import load_value_priors
    from pipeline.valuation import value

    rules, buyer, as_of = data_folder("rules"), search.buyer, search.as_of
    extra = [search.packs] if search.packs.is_dir() else []
    knowledge = load_knowledge(buyer.packs, rules, extra)
    decision = load_decision(rules)
    priors = load_value_priors(buyer.packs, rules, extra)
    names = load_subjects(rules).names

    snapshots = store.snapshots()
    read_now = read(store, snapshots, progress)
    readings = store.readings()
    found = vehicles(store, snapshots, readings)
    evidence = [evidence_of(vehicle, readings, as_of) for vehicle in found]
    repairs: list[RepairEstimate] = []
    for repair in estimate(evidence, knowledge, buyer):
        repairs.append(repair)
        progress("costing", len(repairs), len(evidence))
    prices = [in_buyers_currency(e.facts.get("asking_price"), e.facts.get("currency"), buyer) for e in evidence]
    comparables = [
        comparable_of(v, e, price.amount, repair, priors.traits_in(v.newest[0].advert.text))
        for v, e, price, repair in zip(found, evidence, prices, repairs, strict=True)
    ]
    values: list[Valuation] = value(comparables, priors, buyer, as_of)
    prospects = []
    road = decision.decision.visit.road_over_straight
    for n, (v, e, price, repair, worth) in enumerate(zip(found, evidence, prices, repairs, values, strict=True), 1):
        progress("places", n, len(found))
        miles, place = distance_of(v, search, road)
        prospects.append(
            Prospect(
                ref=v.ref,
                advert_ids=tuple(s.advert.advert_id for s in v.newest),
                title=title_of(v, e),
                evidence=e,
                repair=repair,
                valuation=worth,
                asking_price=price.amount,
                currency=buyer.currency,
                distance_miles=miles,
                place=place,
                refused_price=price.note if price.amount is None else None,
            )
        )
    progress("ranking", len(prospects), len(prospects))
    ranked = rank(prospects, buyer, decision)
    by_ref = {v.ref: (v, p) for v, p in zip(found, prospects, strict=True)}
    views = tuple(_view(row, *by_ref[row.ref], readings, names) for row in ranked)
    counts = {"adverts": len({s.advert.advert_id for s in snapshots}), "vehicles": len(found), "read now": read_now}
    before = store.last_results()
    view = ReportView(
        as_of=as_of,
        buyer=buyer,
        vehicles=views,
        refusals=store.refusals(),
        changes=tuple(changes_since(before, views)),
        assumptions=_assumptions(knowledge, buyer, decision),
        cautions=(*CAUTIONS, *(c for c in knowledge.regions[buyer.region].cautions if c not in CAUTIONS)),
        counts=counts,
        subject_names=names,
    )
    versions = {"rules": fingerprint([rules]), "reading": reading_version()}
    store.keep_run(
        as_of,
        versions,
        counts,
        [
            (v.ref, v.ranked.verdict, v.ranked.visit_worth, v.prospect.asking_price, json.dumps(as_json(v)))
            for v in views
        ],
    )
    return Result(view, read_now)


def _view(
    row: Ranked, vehicle: Vehicle, prospect: Prospect, readings: Mapping[int, Reading], names: Mapping[str, str]
) -> VehicleView:
    said = {claim.subject for claim in prospect.evidence.claims}
    texts = tuple(
        AdvertView(
            s.advert.advert_id,
            s.advert.source,
            s.last_seen,
            s.advert.text,
            readings[s.snapshot_id],
            s.advert.url,
            vehicle.because.get(s.advert.advert_id, ""),
        )
        for s in vehicle.newest
    )
    # Silence is worth naming where it costs: the items expected to cost most of which the advert says nothing.
    dear = sorted(prospect.repair.items, key=lambda item: -item.expected_cost)
    silent = dict.fromkeys(item.subjects[0] for item in dear[:15] if item.subjects and item.subjects[0] not in said)
    return VehicleView(
        ref=row.ref,
        title=prospect.title,
        ranked=row,
        prospect=prospect,
        texts=texts,
        prices=price_points(vehicle.history, readings),
        silent_on=tuple(names.get(subject, subject) for subject in silent),
    )


def _assumptions(knowledge: Any, buyer: Any, decision: Any) -> tuple[Reason, ...]:
    c, visit = buyer.currency, decision.decision.visit
    return (
        Reason(f"labour {c} {buyer.labour_rate:g} an hour", knowledge.regions[buyer.region].labour.source),
        Reason(f"travel {c} {buyer.travel_cost_per_mile:.2f} a mile, time {c} {buyer.time_value_per_hour:g} an hour",
               knowledge.regions[buyer.region].travel.source),
        Reason(f"{visit.hours_there:g} hours at each, {visit.speed_mph:g} miles an hour door to door", visit.source),
        *(Reason(f"{count} of the repair rules rest on: {source}", "rules") for source, count in
          sorted(knowledge.sources().items(), key=lambda item: -item[1])[:8]),
    )  # fmt: skip
