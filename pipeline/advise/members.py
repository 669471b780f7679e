"""The folder of member files: a buyer.toml each, with a section [member]."""

from __future__ import annotations

from pathlib import Path

from pipeline.buyer import RegionDefaults, read_member
from pipeline.errors import UsageError, ViewworthyError
from pipeline.paths import data_folder
from pipeline.places import find_place
from pipeline.schemas.region import load_regions
from pipeline.types import Buyer, Member, Refusal


def read_members(folder: Path, pool: Buyer) -> tuple[list[tuple[Member, Buyer]], list[Refusal]]:
    """Members in the order of their files; files that cannot be used are refused with the reason, the rest goes on.

    Raises UsageError where there is no such folder or no file in it.
    """
    if not folder.is_dir():
        raise UsageError("there is no such folder", where=str(folder), remedy="Name the folder with the member files.")
    paths = sorted(path for path in folder.glob("*.toml") if path.is_file())
    if not paths:
        raise UsageError(
            "there is no member file here",
            where=str(folder),
            remedy="A member file is a buyer.toml under the member's name, NAME.toml, with a section [member].",
        )
    defaults = {
        key: RegionDefaults(r.currency, r.labour.usual, r.travel_per_mile, r.time_value.value, r.units)
        for key, r in load_regions(data_folder("rules")).items()
    }
    members: list[tuple[Member, Buyer]] = []
    refused: list[Refusal] = []
    for path in paths:
        try:
            member, buyer = read_member(path, pool, defaults)
            find_place(buyer.home)
        except ViewworthyError as error:
            told = str(error)
            refused.append(Refusal(path.name, told if path.name in told else f"{path.name}: {told}"))
            continue
        members.append((member, buyer))
    return members, refused
