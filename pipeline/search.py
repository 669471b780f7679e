"""A search folder: buyer.toml, inbox/, packs/, raw/, reports/ and the database."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pipeline.buyer import RegionDefaults, read_buyer, read_region
from pipeline.errors import BuyerError, UsageError
from pipeline.paths import data_folder
from pipeline.schemas.region import load_regions
from pipeline.types import Buyer

COMMENTS_FROM = 36  # column where the comments of buyer.toml begin, where its values leave room


@dataclass(frozen=True, slots=True)
class Search:
    folder: Path
    buyer: Buyer

    @property
    def inbox(self) -> Path:
        return self.folder / "inbox"

    @property
    def reports(self) -> Path:
        return self.folder / "reports"

    @property
    def packs(self) -> Path:
        return self.folder / "packs"

    @property
    def as_of(self) -> date:
        """The day that the run works as if on."""
        return self.buyer.as_of or date.today()


def find_search(given: Path | None) -> Path:
    """The search folder: the one given, the environment's, or the current one. Raises UsageError when it is none."""
    folder = given or Path(os.environ.get("VIEWWORTHY_SEARCH") or ".")
    if not (folder / "buyer.toml").is_file():
        raise UsageError(
            "there is no buyer.toml here, so it is no search folder",
            where=str(folder),
            remedy="Run 'viewworthy start DIR' to make one, or name it with --search DIR.",
        )
    return folder


def open_search(folder: Path, rules: Path | None = None) -> Search:
    """Reads the folder's buyer.toml. Raises BuyerError naming file, line and remedy."""
    regions = load_regions(rules or data_folder("rules"))
    path = folder / "buyer.toml"
    name = read_region(path)
    if name not in regions:
        raise BuyerError(f"region: unknown region {name!r}", where="buyer.toml", remedy=f"Known: {', '.join(regions)}.")
    region = regions[name]
    defaults = RegionDefaults(
        region.currency, region.labour.usual, region.travel_per_mile, region.time_value.value, region.units
    )
    return Search(folder, read_buyer(path, defaults))


def start_search(
    folder: Path,
    *,
    home: str,
    purpose: str = "everyday",
    budget: float | None = None,
    region: str = "uk",
    own_work: bool = False,
    guide_price: float | None = None,
    packs: tuple[str, ...] = ("general",),
) -> Path:
    """Makes a search folder with a commented buyer.toml. Raises UsageError when one is there already."""
    path = folder / "buyer.toml"
    if path.exists():
        raise UsageError("there is a buyer.toml already", where=str(folder), remedy="Edit it, or name another folder.")
    try:
        for part in ("inbox", "packs", "reports"):
            (folder / part).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"cannot be made ({error.strerror})", where=str(folder)) from error
    regions = " | ".join(load_regions(data_folder("rules")))
    given = {"budget_total": budget, "guide_price": guide_price}
    money = {key: f"{key} = {value:g}" if value else f"# {key} = 6500" for key, value in given.items()}
    listed = ", ".join(_quoted(pack) for pack in packs)
    lines = [
        ("", "What you are looking for. Every key but `home` may be left out; the region then gives its usual value."),
        ("", ""),
        ("[buyer]", ""),
        (f"home = {_quoted(home)}", 'where journeys start: a place name, or "54.97, -2.10"'),
        (f"purpose = {_quoted(purpose)}", "original | working | everyday | project"),
        (money["budget_total"], "price and first year's repairs together"),
        (f"region = {_quoted(region)}", regions),
        (f"does_own_work = {str(own_work).lower()}", "true: you save most of the labour on jobs that are safe at home"),
        (money["guide_price"], "what a sound one of middling age and mileage fetches; helps with few adverts"),
        (f"packs = [{listed}]", "kinds of vehicle; `general` is always there"),
        ('# currency = "GBP"', "default from the region, like the three below"),
        ("# labour_rate = 62", "an hour at the garage that you would use"),
        ("# travel_cost_per_mile = 0.45", "or travel_cost_per_km"),
        ("# time_value_per_hour = 12", "what an hour of your day is worth to you"),
        ("", ""),
        ("[must]", "an advert that states otherwise is left, a silent one gets a question"),
        ('# fuel = ["diesel"]', ""),
        ('# gearbox = ["manual"]', ""),
    ]
    text = "".join(_commented(*line) for line in lines)
    path.write_text(text, encoding="utf-8")
    return path


def _commented(setting: str, comment: str) -> str:
    """A line of buyer.toml."""
    if not comment:
        return setting + "\n"
    return f"{setting:<{COMMENTS_FROM - 2}}  # {comment}\n" if setting else f"# {comment}\n"


def _quoted(words: str) -> str:
    escaped = words.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c for c in escaped if c.isprintable()) + '"'
