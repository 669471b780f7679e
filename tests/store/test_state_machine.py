"""Any order of adding, changing, leaving out, adding again, ranking, forgetting and rebuilding: what is told agrees
with a plain model of it, and `doctor` finds nothing.

Reading is replaced by a reader of plain text, so that a step takes milliseconds.
"""

import hashlib
import shutil
import tempfile
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

import pipeline.ingest
from pipeline.doctor import examine, forget, rebuild
from pipeline.errors import UsageError
from pipeline.ingest.text import read_text
from pipeline.intake import add
from pipeline.store import open_store
from pipeline.types import Note, Reading, SourceFile

NAMES = st.sampled_from(["a.txt", "b.txt", "c.txt"])
TEXTS = st.sampled_from([f"Marrick Dale van number {n}, £{n}000" for n in range(1, 5)])


class Search(RuleBasedStateMachine):
    """The model: name -> list of (text, first day, last day), oldest first; a file is known by its bytes."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="state-"))
        self.day = date(2026, 1, 1)
        self.model: dict[str, list[str]] = {}
        self.owner: dict[str, str] = {}  # text -> the name under which it first came
        self.gone: set[str] = set()
        self.notes = 0
        self.runs = 0

    def file(self, name: str, text: str) -> SourceFile:
        data = text.encode()
        return SourceFile(name, data, hashlib.sha256(data).hexdigest(), self.day)

    @rule(name=NAMES, text=TEXTS)
    def add_or_change(self, name: str, text: str) -> None:
        self.day += timedelta(days=1)
        with open_store(self.folder) as store:
            added = add(store, [self.file(name, text)], self.day)
        if text in self.gone:
            assert (added.seen, added.forgotten) == (0, 1)
            return
        owner = self.owner.setdefault(text, name)
        history = self.model.setdefault(owner, [])
        want = "new" if not history else "same" if history[-1] == text else "changed"
        assert (added.new, added.changed, added.same) == tuple(int(want == w) for w in ("new", "changed", "same"))
        if want != "same":
            history.append(text)

    @rule()
    def rank(self) -> None:
        with open_store(self.folder) as store:
            unread = store.unread("v")
            store.keep_readings({number: Reading((), ()) for number in unread}, "v")
            store.keep_refs({name: str(number) for name, number in store.advert_numbers().items()})
            store.keep_run(self.day, {}, {}, [])
        self.runs += 1

    @precondition(lambda self: self.model)
    @rule(pick=st.integers(0, 99))
    def note(self, pick: int) -> None:
        name = sorted(self.model)[pick % len(self.model)]
        with open_store(self.folder) as store:
            store.keep_note(Note(0, name, self.day, "call", text="rang"))
        self.notes += 1

    @precondition(lambda self: len(self.model) > 1)
    @rule()
    def keep_apart(self) -> None:
        first, second = sorted(self.model)[:2]
        with open_store(self.folder) as store:
            store.keep_apart([(first, second)], self.day)
            assert (first, second) in store.apart()

    @precondition(lambda self: self.model)
    @rule(pick=st.integers(0, 99))
    def forget(self, pick: int) -> None:
        name = sorted(self.model)[pick % len(self.model)]
        with open_store(self.folder) as store:
            lost = len([note for note in store.notes() if note.advert_id == name])
        forget(self.folder, name, self.day)
        self.notes -= lost
        for text in self.model.pop(name):
            self.gone.add(text)
        with pytest.raises(UsageError):
            forget(self.folder, name, self.day)

    @precondition(lambda self: self.model)
    @rule()
    def rebuild(self) -> None:
        assert rebuild(self.folder).unreadable is None

    @invariant()
    def all_agrees(self) -> None:
        if not (self.folder / "viewworthy.duckdb").exists():
            return
        assert [line for line in examine(self.folder).troubles if "note_readings" not in line] == []
        with open_store(self.folder) as store:
            held: dict[str, list[str]] = {}
            for snapshot in store.snapshots():
                held.setdefault(snapshot.advert.advert_id, []).append(snapshot.advert.text)
            assert held == self.model
            assert len(set(store.advert_numbers().values())) == len(self.model)
            assert len(store.notes()) == self.notes
            assert len(store.last_runs(1000)) == self.runs

    def teardown(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)


@pytest.fixture(autouse=True)
def plain_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline.ingest, "read_source", read_text)


@pytest.mark.parametrize("runs", [3, pytest.param(60, marks=pytest.mark.slow)])
def test_any_order_of_steps(runs: int) -> None:
    once = settings(
        max_examples=runs,
        stateful_step_count=12,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        database=None,
    )
    run_state_machine_as_test(Search, settings=once)
