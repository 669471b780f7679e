"""Taking files in: the same bytes are one file, what was begun is finished, and the counts add up."""

import json
import os
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from pipeline import intake
from pipeline.errors import StoreError
from pipeline.ingest import gather
from pipeline.intake import Added, add, finish
from pipeline.store import Store, open_store

DAY, LATER = date(2026, 10, 1), date(2026, 10, 20)
VAN = "1994 Marrick Dale camper, 2.4 diesel, 98,000 miles. £{}."


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    (tmp_path / "inbox").mkdir()
    with open_store(tmp_path) as opened:
        yield opened


def save(store: Store, name: str, text: str, day: date = DAY) -> Path:
    path = store.folder / "inbox" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    seconds = (day - date(1970, 1, 1)).days * 86400 + 43200
    os.utime(path, (seconds, seconds))
    return path


def take(store: Store, day: date = DAY) -> Added:
    return add(store, gather([store.folder / "inbox"]), day)


def told(added: Added) -> tuple[int, ...]:
    return added.files, added.seen, added.new, added.changed, added.same, len(added.refusals)


def test_counts_add_up_through_new_same_changed_and_refused(store: Store) -> None:
    save(store, "a.txt", VAN.format("2,000"))
    save(store, "b.jsonl", json.dumps({"id": "b1", "text": VAN.format("3,000")}) + "\n{}\nno json\n")
    save(store, "torn.pdf", "%PDF-1.7 torn")
    assert told(take(store)) == (3, 5, 2, 0, 0, 3)
    assert told(take(store)) == (3, 5, 0, 0, 2, 3), "again: nothing is new, what is refused is said again"
    save(store, "a.txt", VAN.format("1,900"), LATER)
    assert told(take(store, LATER)) == (3, 5, 0, 1, 1, 3)
    with pytest.raises(StoreError, match="3 were seen"):
        Added(files=1, seen=3, new=2).check()


def test_a_file_that_lies_in_the_inbox_is_not_seen_anew_every_day(store: Store) -> None:
    save(store, "a.txt", VAN.format("2,000"))
    take(store, DAY)
    take(store, LATER)
    assert [s.last_seen for s in store.snapshots()] == [DAY]
    save(store, "a.txt", VAN.format("2,000"), LATER)
    assert take(store, LATER).same == 1
    assert [s.last_seen for s in store.snapshots()] == [LATER], "saved again since: it was seen again"


def test_the_same_bytes_under_another_name_are_one_advert(store: Store) -> None:
    save(store, "a.txt", VAN.format("2,000"))
    save(store, "copy of a.txt", VAN.format("2,000"))
    assert told(take(store)) == (2, 2, 1, 0, 1, 0)
    assert list(store.advert_numbers()) == ["a.txt"]


def test_what_was_kept_but_not_read_is_read_by_the_next_run(store: Store) -> None:
    save(store, "a.txt", VAN.format("2,000"))
    store.keep_raw(list(gather([store.folder / "inbox"])), DAY)  # type: ignore[misc]
    (store.folder / "inbox" / "a.txt").unlink()
    assert store.advert_numbers() == {}
    finish(store)
    assert list(store.advert_numbers()) == ["a.txt"]
    assert [s.saved_on for s in store.snapshots()] == [DAY], "as of the day on which it came"


def test_a_refused_file_is_tried_again_by_newer_readers_only(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    save(store, "torn.pdf", "%PDF-1.7 torn")
    take(store)
    asked: list[str] = []
    real = intake._read
    monkeypatch.setattr(
        intake, "_read", lambda s, todo, *rest: asked.extend(t.name for t in todo) or real(s, todo, *rest)
    )
    take(store)
    assert asked == []
    monkeypatch.setattr(intake, "reader_version", lambda: "newer")
    take(store)
    assert asked == ["torn.pdf"]


def test_a_failure_while_storing_leaves_no_half_of_a_batch(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    save(store, "a.txt", VAN.format("2,000"))

    def fails(*_: object) -> None:
        raise OSError("disk gone")

    monkeypatch.setattr(store, "_keep_seen", fails)
    with pytest.raises(OSError, match="disk gone"):
        take(store)
    assert store.advert_numbers() == {} and store.taken() == {}
    monkeypatch.undo()
    assert take(store).same + take(store).same >= 1
    assert list(store.advert_numbers()) == ["a.txt"]


def test_many_small_files_go_in_fast_enough(store: Store) -> None:
    for n in range(450):
        save(store, f"{n:03}.txt", VAN.format(2000 + n))
    assert told(take(store)) == (450, 450, 450, 0, 0, 0)
    assert list(store.advert_numbers())[:2] == ["000.txt", "001.txt"]
    assert told(take(store)) == (450, 450, 0, 0, 450, 0)
