"""The first five minutes: at most six questions, each with a default by Enter, and what to do next."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

from pipeline.errors import UsageError
from pipeline.paths import data_folder
from pipeline.places import PlaceError, find_place, gazetteer, name_key
from pipeline.schemas.knowledge import pack_names
from pipeline.schemas.planning import load_day_rules
from pipeline.schemas.region import load_regions
from pipeline.types import Purpose

Ask = Callable[[str], str]  # a question -> what was typed, empty for Enter
Say = Callable[[str], None]

PURPOSES: dict[str, str] = {
    "everyday": "to be driven every day",
    "working": "to work; looks count for little",
    "original": "to be kept as it was made",
    "project": "to be worked on for the pleasure of it",
}
USUAL_REGION = "uk"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a search starts from; None: not told yet."""

    home: str | None = None
    region: str | None = None
    packs: tuple[str, ...] | None = None
    purpose: str | None = None
    budget: float | None = None
    guide_price: float | None = None


def completed(wanted: Wanted, ask: Ask | None, say: Say) -> Wanted:
    """What was not given by flags: asked for in a terminal, else the defaults.

    Raises UsageError for what cannot be used, and when nobody can be asked where journeys start.
    """
    if wanted.home is None and ask is None:
        raise UsageError("where do your journeys start?", remedy="Give --home PLACE.")
    _check(wanted)
    if ask is not None:
        wanted = _asked(wanted, ask, say)
    region = wanted.region or _region_of(wanted.home or "") or USUAL_REGION
    if wanted.home is not None:
        _place(wanted.home, region)
    return replace(
        wanted, region=region, packs=wanted.packs or ("general",), purpose=wanted.purpose or next(iter(PURPOSES))
    )


def next_steps(folder: Path) -> str:
    """Where saved adverts go and how they are saved."""
    inbox = (folder / "inbox").resolve()
    return (
        f"Your search is in {folder.resolve()}; what you answered is in its buyer.toml, with the rest explained.\n"
        f"Now save adverts into {inbox}\n"
        "  a page: in the browser Ctrl+S, as one file or 'page complete'; or print it to PDF\n"
        "  an alert mail: save it as .eml    some text: paste it into a .txt\n"
        f"then: cd {folder} && viewworthy add && viewworthy rank\n"
        f"or paste them into a page in your browser: viewworthy desk --search {folder}"
    )


def nothing_yet(folder: Path, waiting: int) -> str:
    """What to do where there is nothing to rank: `waiting` files lie in the inbox unread."""
    if waiting:
        files = "1 file waits" if waiting == 1 else f"{waiting} files wait"
        return f"No adverts yet, but {files} in {folder / 'inbox'}. Run 'viewworthy add', then 'viewworthy rank'."
    return (
        f"No adverts yet. Save some into {folder / 'inbox'} (a page by Ctrl+S in the browser, a mail as .eml, text as "
        ".txt), run 'viewworthy add', then 'viewworthy rank'. Or paste them: 'viewworthy desk'."
    )


def _asked(wanted: Wanted, ask: Ask, say: Say) -> Wanted:
    rules = data_folder("rules")
    if wanted.home is None:
        while True:
            home = ask("Where do your journeys start? A town, or latitude, longitude").strip()
            try:
                if home:
                    _place(home, wanted.region or _region_of(home) or USUAL_REGION)
                    break
                say("  It is needed: what a visit costs hangs on it.")
            except PlaceError as error:
                say(f"  {error}")
        wanted = replace(wanted, home=home)
    if wanted.region is None:
        names = {key: region.name for key, region in load_regions(rules).items()}
        usual = _region_of(wanted.home or "") or USUAL_REGION
        while True:
            region = _choose("Which region?", names, usual, ask, say)
            try:
                _place(wanted.home or "", region)
                break
            except PlaceError as error:
                say(f"  {error.what} of {names[region]}.")
        wanted = replace(wanted, region=region)
    if wanted.packs is None:
        kinds = {name: name.replace("-", " ") for name in pack_names(rules) if name != "general"}
        kinds = {"general": "another, or several"} | kinds
        kind = _choose("What kind of vehicle?", kinds, "general", ask, say)
        wanted = replace(wanted, packs=("general",) if kind == "general" else ("general", kind))
    if wanted.purpose is None:
        wanted = replace(wanted, purpose=_choose("What is it for?", PURPOSES, next(iter(PURPOSES)), ask, say))
    if wanted.budget is None:
        question = "How much may it cost, price and the first year's repairs together? (Enter: not decided)"
        wanted = replace(wanted, budget=_sum(question, ask, say))
    if wanted.guide_price is None:
        question = "What does a sound one of middling age and mileage fetch? (Enter: not known)"
        wanted = replace(wanted, guide_price=_sum(question, ask, say))
    return wanted


def _choose(question: str, choices: dict[str, str], usual: str, ask: Ask, say: Say) -> str:
    keys = list(choices)
    say(question)
    for number, (key, about) in enumerate(choices.items(), 1):
        say(f"  {number}  {about}" + (f" ({key})" if about.replace(" ", "-") != key else ""))
    while True:
        said = ask(f"Number or name (Enter: {keys.index(usual) + 1})").strip().lower()
        if not said:
            return usual
        if said.isdecimal() and 1 <= int(said) <= len(keys):
            return keys[int(said) - 1]
        found = [key for key in keys if said == key or key.startswith(said)]
        found = found or [key for key in keys if said in key or said in choices[key].lower()]
        if len(found) == 1:
            return found[0]
        say(f"  Give a number from 1 to {len(keys)}.")


def _sum(question: str, ask: Ask, say: Say) -> float | None:
    while True:
        said = ask(question).strip().lstrip("£$€ ").replace(",", "")
        if not said:
            return None
        try:
            amount = float(said[:-1]) * 1000 if said.lower().endswith("k") else float(said)
        except ValueError:
            amount = 0.0
        if 0 < amount < 1e9:
            return amount
        say("  Give a sum such as 7000, or press Enter.")


def _check(wanted: Wanted) -> None:
    """Raises UsageError for a flag that cannot be used."""
    if wanted.purpose is not None and wanted.purpose not in get_args(Purpose):
        raise UsageError(f"--purpose {wanted.purpose}: not known", remedy=f"Use one of {', '.join(PURPOSES)}.")
    regions = load_regions(data_folder("rules"))
    if wanted.region is not None and wanted.region not in regions:
        raise UsageError(f"--region {wanted.region}: unknown region", remedy=f"Known: {', '.join(regions)}.")
    known = pack_names(data_folder("rules"))
    for name in wanted.packs or ():
        if name not in known:
            raise UsageError(f"--pack {name}: not known", remedy=f"Known: {', '.join(known)}.")
    for price, option in ((wanted.budget, "--budget"), (wanted.guide_price, "--guide-price")):
        if price is not None and not 0 < price < 1e9:
            raise UsageError(f"{option} {price:g}: is no sum", remedy="Give a sum such as 7000.")


def _place(home: str, region: str) -> None:
    """Raises PlaceError for a home that no journey can be reckoned from."""
    find_place(home, _countries(region))


def _region_of(home: str) -> str | None:
    """The region that has a place of that name, the usual one first; None for a point and for an unknown name."""
    countries = load_day_rules(data_folder("rules")).countries
    everywhere = tuple(sorted({country for some in countries.values() for country in some}))
    for some in (_countries(USUAL_REGION), everywhere):  # a gazetteer takes seconds to load
        for place in gazetteer(some).get(name_key(home), ()):
            return next(region for region in _ordered(countries) if place.country in countries[region])
    return None


def _ordered(regions: Iterable[str]) -> list[str]:
    return sorted(regions, key=lambda region: region != USUAL_REGION)


def _countries(region: str) -> tuple[str, ...]:
    return load_day_rules(data_folder("rules")).countries.get(region, ("GB",))
