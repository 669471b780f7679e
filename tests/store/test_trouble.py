"""Disk full, folder that cannot be written, two at once: a line for the user, nothing lost, the next run goes on."""

import os
import subprocess
import sys
import threading
from datetime import date
from pathlib import Path

import pytest

from pipeline.doctor import examine
from pipeline.errors import StoreError
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.store import open_store
from pipeline.store.files import Files

DAY = date(2026, 10, 1)
ADD = """
import sys, pathlib, datetime
from pipeline.errors import ViewworthyError
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.store import open_store
folder = pathlib.Path(sys.argv[1])
try:
    with open_store(folder) as store:
        added = add(store, gather([folder / sys.argv[2]]), datetime.date(2026, 10, 1))
    print(added.new, added.changed, added.same, len(added.refusals))
except ViewworthyError as error:
    print(error)
    sys.exit(3)
"""


def inbox(folder: Path, name: str, count: int, size: int = 40) -> Path:
    (folder / name).mkdir(parents=True)
    for n in range(count):
        (folder / name / f"{name}-{n:03}.txt").write_text(f"van {name} {n} £{1000 + n} " + "words " * size)
    return folder


def run(folder: Path, name: str, *before: str) -> subprocess.CompletedProcess[str]:
    command = [*before, sys.executable, "-c", ADD, str(folder), name]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_two_at_once_both_get_their_turn(tmp_path: Path) -> None:
    folder = inbox(inbox(tmp_path, "one", 60), "two", 60)
    both = [
        subprocess.Popen([sys.executable, "-c", ADD, str(folder), name], stdout=subprocess.PIPE, text=True)
        for name in ("one", "two")
    ]
    assert [process.communicate()[0].strip() for process in both] == ["60 0 0 0", "60 0 0 0"]
    with open_store(folder) as store:
        numbers = store.advert_numbers()
    assert sorted(numbers.values()) == list(range(1, 121))
    assert examine(folder).troubles == ()


@pytest.fixture
def small_disk(tmp_path: Path) -> list[str]:
    """A command that runs another with 6 MB of disk at `tmp_path / "s"`, where the system lets one make that."""
    (tmp_path / "s").mkdir()
    mount = f'mount -t tmpfs -o size=6m tmpfs {tmp_path / "s"} && cp -r {tmp_path / "start"}/. {tmp_path / "s"} && "$@"'
    mount += f"; status=$?; cp -r {tmp_path / 's'}/. {tmp_path / 'after'}; exit $status"
    inside = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", mount, "sh"]
    (tmp_path / "start").mkdir()
    (tmp_path / "after").mkdir()
    try:
        tried = subprocess.run([*inside, "true"], capture_output=True, check=False)
    except OSError:
        pytest.skip("there is no unshare here")
    if tried.returncode:
        pytest.skip("the system does not let a test mount a small disk")
    return inside


def test_a_database_that_another_is_just_making_is_waited_for(tmp_path: Path) -> None:
    with open_store(tmp_path):
        pass
    path, made = tmp_path / "viewworthy.duckdb", tmp_path / "made"
    path.rename(made)
    begun = made.read_bytes()[:4096]
    path.write_bytes(begun)
    other = threading.Timer(0.3, os.replace, [made, path])
    other.start()
    with open_store(tmp_path) as store:
        assert store.advert_numbers() == {}
    other.join()
    path.write_bytes(begun)
    with pytest.raises(StoreError, match="doctor --rebuild"), open_store(tmp_path):
        pass


def test_a_full_disk_is_one_line_and_the_rest_goes_in_later(tmp_path: Path, small_disk: list[str]) -> None:
    inbox(tmp_path / "start", "few", 5)
    assert run(tmp_path / "start", "few").stdout.strip() == "5 0 0 0"
    many = inbox(tmp_path / "outside", "many", 150, size=5000) / "many"
    full = run(tmp_path / "s", str(many), *small_disk)
    assert full.returncode != 0 and "Traceback" not in full.stderr, full.stderr
    assert any(words in full.stdout for words in ("cannot be written", "cannot be read or written")), full.stdout
    after = tmp_path / "after"
    with open_store(after) as store:
        assert len([a for a in store.advert_numbers() if a.startswith("few")]) == 5, "what was there is there"
        added = add(store, gather([after / "few", many]), DAY)
        assert len(store.advert_numbers()) == 155 and added.seen == 155
    assert [line for line in examine(after).troubles if ".part" not in line] == []


def test_a_folder_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    folder = inbox(tmp_path / "s", "few", 3)
    run(folder, "few")
    bind = f'mount --bind {folder} {folder} && mount -o remount,ro,bind {folder} && "$@"'
    inside = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", bind, "sh"]
    try:
        tried = subprocess.run([*inside, "sh", "-c", f"! touch {folder}/x"], capture_output=True, check=False)
    except OSError:
        pytest.skip("there is no unshare here")
    if tried.returncode:
        pytest.skip("the system does not let a test mount a folder to read only")
    refused = run(folder, "few", *inside)
    assert refused.returncode == 3 and "Traceback" not in refused.stderr, refused.stderr
    assert "cannot be" in refused.stdout and refused.stdout.count("\n") == 1
    assert examine(folder).troubles == ()


def test_no_half_file_stays_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = inbox(tmp_path, "few", 3)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    with open_store(folder) as store:
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(StoreError, match=r"No space left on device.*Make room"):
            add(store, gather([folder / "few"]), DAY)
        monkeypatch.undo()
        assert not list(folder.rglob("*.part")) and store.taken() == {}
        assert add(store, gather([folder / "few"]), DAY).new == 3


def test_a_lost_row_is_noticed_and_nothing_is_half_stored(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = inbox(tmp_path, "few", 3)
    with open_store(folder) as store:
        real = store._append

        def forgetful(table: str, rows: list[object], columns: tuple[str, ...] = ()) -> None:
            real(table, rows[:-1] if table == "snapshots" else rows, columns)  # type: ignore[arg-type]

        monkeypatch.setattr(store, "_append", forgetful)
        with pytest.raises(StoreError, match="rows went missing"):
            add(store, gather([folder / "few"]), DAY)
        monkeypatch.undo()
        assert store.advert_numbers() == {} and len(store.journalled()) == 3
        add(store, [], DAY)
        assert len(store.advert_numbers()) == 3, "what was kept is read by the next run"
    assert isinstance(Files.journal, property)
