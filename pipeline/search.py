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

TEMPLATE = """\
# What you are looking for. Every key but `home` may be left out; the region then gives its usual value.

[buyer]
home = {home}                  # where journeys start: a place name, or "54.97, -2.10"
purpose = "{purpose}"          # original | working | everyday | project
{budget}# budget_total: price and first year's repairs together
region = "{region}"            # {regions}
does_own_work = {own}          # true: you save most of the labour on jobs that are safe at home
# currency = "GBP"             # default from the region, like the four below
# labour_rate = 62             # an hour at the garage that you would use
# travel_cost_per_mile = 0.45  # or travel_cost_per_km
# time_value_per_hour = 12     # what an hour of your day is worth to you
{guide}# guide_price: what a sound one of middling age and mileage fetches; helps while you have few adverts
packs = [{packs}]              # kinds of vehicle; `general` is always there

[must]                         # an advert that states otherwise is left, a silent one gets a question
# fuel = ["diesel"]
# gearbox = ["manual"]
"""


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
    defaults = RegionDefaults(region.currency, region.labour.usual, region.travel_per_mile, region.time_value.value)
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
    text = TEMPLATE.format(
        home=_quoted(home),
        purpose=purpose,
        budget=f"budget_total = {budget:g}\n" if budget else "# budget_total = 7000\n",
        region=region,
        regions=regions,
        own=str(own_work).lower(),
        guide=f"guide_price = {guide_price:g}\n" if guide_price else "# guide_price = 6500\n",
        packs=", ".join(_quoted(pack) for pack in packs),
    )
    path.write_text(text, encoding="utf-8")
    return path


def _quoted(words: str) -> str:
    escaped = words.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c for c in escaped if c.isprintable()) + '"'
