"""The run: stages in order. Plain functions; what is unchanged is not read again."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pipeline.batches import Alone, Hands, Text, cost_apart, read_apart
from pipeline.held_readings import HeldReadings
from pipeline.intake import Progress, finish, quiet
from pipeline.itembeliefs import ItemBeliefs
from pipeline.kept_costs import KeptCosts
from pipeline.keys import costing_version, reading_version, run_key, versions
from pipeline.notes import Recorded, recorded
from pipeline.output import as_json, changes_since, passed_over_json
from pipeline.parallel import hands_for
from pipeline.paths import data_folder
from pipeline.record import Record
from pipeline.schemas.notes import NoteRules
from pipeline.search import Search
from pipeline.standing import Standing
from pipeline.store import Store, price_points
from pipeline.store.runs import Row, Source
from pipeline.types import (
    MILES_PER_KM,
    AdvertView,
    Note,
    Prospect,
    Ranked,
    Reading,
    Reason,
    ReportView,
    Snapshot,
    VehicleView,
)
from pipeline.vehicles import Vehicle, vehicles

STORED_TOGETHER = 1000  # readings
CAUTIONS = (
    "An estimate is a reasoned guess from an advert, no inspection: have a licensed inspector look before you pay.",
    "Never go under a vehicle that stands on a jack alone; keep clear of moving belts, fans and hot coolant.",
    "Petrol, gas bottles and airbags can kill: no flame, no unplugging, leave them to those licensed for them.",
    "Make sure that you are insured before you drive a stranger's vehicle, and that it may be on the road.",
    "Go with somebody, meet at the address on the papers, and pay nothing before you have seen vehicle and papers.",
    "Local law and a licensed inspection come before anything said here.",
)


@dataclass(frozen=True, slots=True)
class Result:
    """What a run gives. `record.counts` tells what was read and worked out anew, `record.seconds` how long it took."""

    view: ReportView
    record: Record
    found: tuple[Vehicle, ...] = ()  # of the vehicles in the view, but for those passed over

    @property
    def read_now(self) -> int:
        """Snapshots read in this run."""
        return self.record.counts["read now"]


# ---- nlp --------------------------------------------------------------------


def read(
    store: Store,
    snapshots: Sequence[Snapshot],
    progress: Progress = quiet,
    rules: Path | None = None,
    hands: Hands | None = None,
) -> int:
    """Reads the snapshots that no reading of this version covers. Returns how many.

    What is read is stored as it comes, so that a run that is ended goes on where it was.
    """
    version = reading_version(rules)
    unread, unread_notes = store.unread(version), store.unread_notes(version)
    texts = [
        Text(s.snapshot_id, s.advert.text, s.saved_on, s.advert.stated, s.advert.title)
        for s in snapshots
        if s.snapshot_id in unread
    ]
    some: dict[int, Reading] = {}
    for done, (number, reading) in enumerate(read_apart(texts, version, rules, hands or hands_for(len(texts))), 1):
        progress("reading", done, len(texts))
        some[number] = reading
        if len(some) == STORED_TOGETHER or done == len(texts):
            store.keep_readings(some, version)
            some = {}
    if unread_notes:
        notes = [Text(n.number, n.text, n.day) for n in store.notes() if n.number in unread_notes]
        store.keep_note_readings(dict(read_apart(notes, version, rules, Alone())), version)
    return len(texts)


# ---- the whole ----------------------------------------------------------------


def bring_up_to_date(
    store: Store,
    search: Search,
    progress: Progress = quiet,
    *,
    remember: bool = True,
    tidy: bool | None = None,
    rules: Path | None = None,
    command: str = "",
    hands: Hands | None = None,
    asked: Collection[str] = (),
) -> Result:
    """Reads what is new, works out costs and values, ranks, and gives all that the report shows.

    `remember`: the ranking is kept as the one that the next run's changes are told from, with the name of the
    `command` that asked for it. `tidy`: kept costs that this run did not use are deleted (default: as `remember`).
    Adverts already read and costs already worked out from the same evidence, rules and terms are taken as they are;
    values and ranks are always worked out anew, for each rests on all vehicles. `hands` do the reading and costing:
    this machine's processors unless told. In a very large search only some vehicles are worked out in full (see
    `quick_pass.py`); `asked`: what a person called those that must be among them.
    """
    from pipeline.appraisal import Appraiser, evidence_of_each
    from pipeline.costing import learnt_knowledge
    from pipeline.quick_pass import pick
    from pipeline.ranking import going_without, rank
    from pipeline.schemas.decision import load_decision
    from pipeline.schemas.knowledge import load_knowledge
    from pipeline.schemas.notes import load_note_rules
    from pipeline.schemas.subjects import load_subjects
    from pipeline.schemas.value_priors import load_value_priors

    record = Record()
    own_rules, buyer, as_of = rules, search.buyer, search.as_of
    rules = rules or data_folder("rules")
    extra = [search.packs] if search.packs.is_dir() else []
    with record.stage("rules"):
        knowledge = load_knowledge(buyer.packs, rules, extra)
        decision = load_decision(rules)
        priors = load_value_priors(buyer.packs, rules, extra)
        names = load_subjects(rules).names
        noting = load_note_rules(rules)
    with record.stage("reading"):
        finish(store, progress)
        snapshots = store.snapshots()
        read_now = read(store, snapshots, progress, own_rules, hands)
        notes = store.notes()
        readings = HeldReadings(store, snapshots, notes, noting)
    with record.stage("linking"):
        progress("linking", 0, len(snapshots))
        found = vehicles(store, snapshots, readings, as_of)
        known = _recorded(found, notes, store.note_readings(), noting)
    with record.stage("costing"):
        noted = [vehicle for vehicle in found if known[vehicle.ref].findings]
        wiser, lessons, learnt = learnt_knowledge(
            evidence_of_each(noted, readings, as_of, known, knowledge), knowledge, buyer
        )
        kept = KeptCosts(
            store.folder / "cache",
            "".join((costing_version(rules, buyer, search.packs), *map(repr, learnt))),
            lambda some: cost_apart(some, wiser, buyer, hands or hands_for(len(some))),
        )
    appraiser = Appraiser(search, as_of, readings, known, knowledge, decision, priors, kept, record, progress)
    picked = pick(found, appraiser, asked)
    prospects = appraiser.prospects(picked.full, picked.evidence, picked.sample)
    if remember if tidy is None else tidy:
        kept.tidy()
    with record.stage("ranking"):
        progress("ranking", len(prospects), len(prospects))
        by_ref = {v.ref: (v, p) for v, p in zip(picked.full, prospects, strict=True)}
        there = [p for p in prospects if not known[p.ref].fate]
        if picked.sample is not None:
            usual = [p for p in there if p.ref in picked.sample]
            there_for = replace(buyer, outside_option=going_without(usual, buyer, decision))
        else:
            there_for = buyer
        ranked = rank(there, there_for, decision)
        over = rank([p for p in prospects if known[p.ref].fate], buyer, decision)
        read_of = readings.of([snapshot for vehicle in picked.full for snapshot in vehicle.history])
        views, apart = (
            tuple(_view(row, standing, *by_ref[row.ref], read_of, names, known[row.ref]) for row in rows)
            for rows, standing in ((ranked, Standing(ranked)), (over, Standing(over)))
        )
    counts = {"adverts": len({s.advert.advert_id for s in snapshots}), "vehicles": len(found), "read now": read_now}
    if picked.passed_over:
        counts["passed over"] = len(picked.passed_over)
    before = store.last_standing()
    view = ReportView(
        as_of=as_of,
        buyer=buyer,
        vehicles=views,
        refusals=store.refusals(),
        changes=tuple(changes_since(before, views)),
        assumptions=(*lessons, *_assumptions(knowledge, buyer, decision)),
        cautions=(*CAUTIONS, *(c for c in knowledge.regions[buyer.region].cautions if c not in CAUTIONS)),
        counts=counts,
        subject_names=names,
        apart=apart,
        passed_over=picked.passed_over,
    )
    record.counts |= {**counts, "costs worked out": kept.worked_out, "refused": len(view.refusals)}
    result = Result(view, record, tuple(picked.full))
    if remember:
        keep_ranking(store, search, result, rules=rules, command=command)
    return result


def unchanged(store: Store, search: Search, rules: Path | None = None) -> bool:
    """Whether the newest ranking in the store rests on all that is there now, so that it need not be made again."""
    rules = rules or data_folder("rules")
    key = run_key(search.folder, rules, search.as_of.isoformat(), store.inputs())
    return store.last_inputs() == key


def keep_ranking(store: Store, search: Search, result: Result, *, rules: Path | None = None, command: str = "") -> None:
    """Keeps a ranking as the one that `show` prints and the next run's changes are told from, with the run's record."""
    from pipeline.report import passed_over_lines, vehicle_lines

    view, record, rules = result.view, result.record, rules or data_folder("rules")
    key = run_key(search.folder, rules, view.as_of.isoformat(), store.inputs())

    def rows() -> Iterator[Row]:
        for apart, several in ((False, view.vehicles), (True, view.apart)):
            for v in several:
                with record.stage("storing"):
                    row = Row(
                        v.ref,
                        v.title,
                        v.ranked.verdict,
                        v.ranked.visit_worth,
                        v.prospect.asking_price,
                        tuple(Source(t.advert_id, t.source) for t in v.texts),
                        json.dumps(as_json(v)),
                        "\n".join(vehicle_lines(v, view.buyer.units)).encode("utf-8", "replace").decode("utf-8"),
                        apart,
                    )
                yield row
        for one in view.passed_over:
            names = tuple(Source(*pair) for pair in one.adverts)
            told, lines = json.dumps(passed_over_json(one)), "\n".join(passed_over_lines(one, view.buyer.currency))
            yield Row(one.ref, one.title, "leave", None, one.asking_price, names, told, lines)

    store.keep_run(
        view.as_of,
        versions(rules, view.buyer, search.packs),
        record.counts,
        rows(),
        inputs=key,
        seconds=record.seconds,
        command=command,
    )


def _recorded(
    found: Sequence[Vehicle], notes: Sequence[Note], readings: Mapping[int, Reading], rules: NoteRules
) -> dict[str, Recorded]:
    """What the buyer recorded of each vehicle, under any of its adverts: ref -> it."""
    told: dict[str, list[Note]] = {}
    for note in notes:
        told.setdefault(note.advert_id, []).append(note)
    nothing = recorded((), readings, rules)
    return {
        vehicle.ref: nothing
        if told.keys().isdisjoint(s.advert.advert_id for s in vehicle.newest)
        else recorded(
            sorted(
                (note for s in vehicle.newest for note in told.get(s.advert.advert_id, ())),
                key=lambda note: note.number,
            ),
            readings,
            rules,
        )
        for vehicle in found
    }


def _view(
    row: Ranked,
    standing: Standing,
    vehicle: Vehicle,
    prospect: Prospect,
    readings: Mapping[int, Reading],
    names: Mapping[str, str],
    noted: Recorded,
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
    items = ItemBeliefs.of(prospect.repair.items)
    dear = [items.parts.subjects[n] for n in items.dearest(15)]
    silent = dict.fromkeys(subjects[0] for subjects in dear if subjects and subjects[0] not in said)
    return VehicleView(
        ref=row.ref,
        title=prospect.title,
        ranked=row,
        prospect=prospect,
        texts=texts,
        prices=price_points(vehicle.history, readings),
        silent_on=tuple(names.get(subject, subject) for subject in silent),
        notes=noted.notes,
        fate=noted.fate,
        gone=vehicle.gone,
        places=standing.places_if(row, prospect.repair.sensitive),
    )


def _assumptions(knowledge: Any, buyer: Any, decision: Any) -> tuple[Reason, ...]:
    c, visit = buyer.currency, decision.decision.visit
    per, one = (MILES_PER_KM, "kilometre") if buyer.units == "km" else (1.0, "mile")
    return (
        Reason(f"labour {c} {buyer.labour_rate:g} an hour", knowledge.regions[buyer.region].labour.source),
        Reason(f"travel {c} {buyer.travel_cost_per_mile * per:.2f} a {one}, "
               f"time {c} {buyer.time_value_per_hour:g} an hour",
               knowledge.regions[buyer.region].travel.source),
        Reason(f"{visit.hours_there:g} hours at each, {visit.speed_mph / per:.0f} {one}s an hour door to door",
               visit.source),
        *(Reason(f"{count} of the repair rules rest on: {source}", "rules") for source, count in
          sorted(knowledge.sources().items(), key=lambda item: -item[1])[:8]),
    )  # fmt: skip
