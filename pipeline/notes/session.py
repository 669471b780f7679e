"""One recording from beginning to end: look, store, look again, tell what changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pipeline.errors import UsageError
from pipeline.intake import Progress
from pipeline.notes.compare import Change, changed, find
from pipeline.notes.record import Given, Recorder, anchor, undo
from pipeline.refs import find_vehicle
from pipeline.report.learnt import heading, lines
from pipeline.run import bring_up_to_date
from pipeline.search import Search
from pipeline.store import Store
from pipeline.types import Note, ReportView, VehicleView

Make = Callable[[VehicleView, str], Note]  # vehicle and the advert that its notes hang on -> a note to store


@dataclass(frozen=True, slots=True)
class Told:
    """A note as stored or taken back, how it was understood, and what it changed."""

    ref: str
    title: str
    note: Note
    understood: tuple[str, ...]
    changes: tuple[Change, ...]
    view: ReportView


def everything(view: ReportView) -> tuple[VehicleView, ...]:
    """The vehicles ranked and those kept apart."""
    return (*view.vehicles, *view.apart)


def record(store: Store, search: Search, ref: str, given: Given, progress: Progress) -> Told:
    """Records what was learnt of a vehicle. Raises UsageError, storing nothing, when a word of it cannot be used."""
    if given.empty:
        raise UsageError("nothing to record", remedy="Give --found, --answer, --text or another; see --help.")
    recorder = Recorder(search)
    return store_note(store, search, ref, lambda v, key: recorder.note(given, v, key, search.as_of), progress)


def store_note(store: Store, search: Search, ref: str, make: Make, progress: Progress) -> Told:
    """Stores the note that `make` gives for the vehicle, and tells what it changed."""
    before = bring_up_to_date(store, search, progress, remember=False, asked=[ref]).view
    vehicle = find_vehicle(everything(before), ref)
    note = make(vehicle, anchor(store, vehicle))
    number = store.keep_note(note)
    return _told(store, search, before, vehicle, replace(note, number=number), progress)


def take_back(
    store: Store,
    search: Search,
    ref: str,
    progress: Progress,
    check: Callable[[VehicleView], None] = lambda vehicle: None,
) -> Told:
    """Undoes the newest note of a vehicle that still counts. `check` may raise when it is not the one meant."""
    before = bring_up_to_date(store, search, progress, remember=False, asked=[ref]).view
    vehicle = find_vehicle(everything(before), ref)
    check(vehicle)
    note = undo(store, vehicle)
    return _told(store, search, before, vehicle, replace(note, undone=True), progress)


def _told(
    store: Store, search: Search, before: ReportView, vehicle: VehicleView, note: Note, progress: Progress
) -> Told:
    after = bring_up_to_date(store, search, progress, remember=False, asked=[vehicle.ref]).view
    now = find(after, vehicle.ref) or vehicle
    read = store.note_readings().get(note.number)
    items = {item.item: item.name for item in now.prospect.repair.items}
    understood = lines(note, after.subject_names, items, after.buyer.currency, read)
    return Told(vehicle.ref, now.title, note, tuple(understood), changed(before, after, vehicle.ref), after)


def history(store: Store, view: ReportView, vehicle: VehicleView) -> list[tuple[str, Sequence[str]]]:
    """(heading, lines) of each note of a vehicle, oldest first."""
    read = store.note_readings()
    items = {item.item: item.name for item in vehicle.prospect.repair.items}
    return [
        (heading(note), lines(note, view.subject_names, items, view.buyer.currency, read.get(note.number)))
        for note in vehicle.notes
    ]
