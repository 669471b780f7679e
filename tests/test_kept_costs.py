"""What is put away, in a file or on the shelf, comes back bit for bit."""

import gc
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields, replace
from datetime import date
from pathlib import Path

import pytest

from pipeline import kept_costs
from pipeline.costing import estimate
from pipeline.itembeliefs import ItemBeliefs
from pipeline.kept_costs import KeptCosts, packed, unpacked
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.shelf import Shelf
from pipeline.types import Buyer, Claim, Draws, Evidence, RepairEstimate

KNOWLEDGE = load_knowledge(["general"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0, does_own_work=True)
ROTTEN = Claim("sills", "present", "plain", "rust in the “sills” \ud83d", 0, 5, "test")
FLEET = [
    Evidence(str(n), {"year": [1996]}, (ROTTEN,) * (n % 2), 24.0 + n, 90000.0, date(2026, 10, 31), 80) for n in range(6)
]


@pytest.fixture(scope="module")
def repairs() -> list[RepairEstimate]:
    return list(estimate(FLEET, KNOWLEDGE, BUYER))


def same(one: RepairEstimate, other: RepairEstimate) -> bool:
    rest = [f.name for f in fields(RepairEstimate) if f.name not in ("items", "drawn")]
    return (
        tuple(one.items) == tuple(other.items)
        and (one.item_costs == other.item_costs).all()
        and all(getattr(one, name) == getattr(other, name) for name in rest)
    )


def test_an_estimate_goes_into_bytes_and_back(repairs: list[RepairEstimate]) -> None:
    for repair in repairs:
        back = unpacked(packed(repair), repair.ref)
        assert same(back, repair) and type(back.drawn) is Draws
        assert tuple(ItemBeliefs.of(tuple(repair.items))) == tuple(repair.items)


def of_fleet(repairs: list[RepairEstimate]) -> Callable[[Sequence[Evidence]], Iterable[RepairEstimate]]:
    return lambda some: [repairs[int(one.ref)] for one in some]


def test_costs_beyond_what_memory_is_given_to_lie_on_a_shelf(
    repairs: list[RepairEstimate], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept_costs, "HELD", 2)
    held = list(KeptCosts(tmp_path / "cache", "v", of_fleet(repairs)).of(FLEET))
    assert [type(one.drawn) is Draws for one in held] == [True, True, False, False, False, False]
    assert all(map(same, held, repairs))
    again = list(KeptCosts(tmp_path / "cache", "v", of_fleet(repairs)).of(FLEET))
    assert all(map(same, again, repairs)) and all(map(same, held, repairs))
    assert all(path.suffix == ".npz" for path in (tmp_path / "cache").iterdir())  # the shelf has no name
    del held, again
    gc.collect()


def test_where_the_disk_is_full_they_stay_in_memory(
    repairs: list[RepairEstimate], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(shelf: Shelf, draws: Draws) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(kept_costs, "HELD", 0)
    monkeypatch.setattr(Shelf, "put", full)
    held = list(KeptCosts(tmp_path / "cache", "v", of_fleet(repairs)).of(FLEET))
    assert all(type(one.drawn) is Draws for one in held) and all(map(same, held, repairs))


def test_a_vehicle_without_items_is_nothing_special(repairs: list[RepairEstimate]) -> None:
    bare = replace(repairs[0], items=(), drawn=repairs[0].item_costs[:, :0])
    assert len(unpacked(packed(bare), "0").items) == 0


def test_what_any_part_of_a_run_asked_for_is_kept_and_the_rest_is_tidied_away(
    repairs: list[RepairEstimate], tmp_path: Path
) -> None:
    folder = tmp_path / "cache"
    before = KeptCosts(folder, "v", of_fleet(repairs))
    assert len(list(before.of(FLEET))) == len(list(folder.glob("*.npz"))) == len(FLEET)
    (folder / "torn.part").write_bytes(b"")
    again = KeptCosts(folder, "v", of_fleet(repairs))
    assert [one.ref for some in (FLEET[:2], FLEET[3:5]) for one in again.of(some)] == ["0", "1", "3", "4"]
    again.tidy()
    assert again.worked_out == 0 and len(list(folder.iterdir())) == 4
    third = KeptCosts(folder, "v", of_fleet(repairs))
    assert len(list(third.of(FLEET))) == len(FLEET) and third.worked_out == len(FLEET) - 4
