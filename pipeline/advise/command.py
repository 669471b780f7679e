"""What `viewworthy advise` does: reads the pool once, chooses for each member, writes a page each and the summary."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pipeline.advise.choose import choose
from pipeline.advise.contacts import masked, without_contacts
from pipeline.advise.members import read_members
from pipeline.advise.pool import Pool, Terms, key_of
from pipeline.intake import Progress
from pipeline.output import as_json as vehicle_as_json
from pipeline.output import write_files
from pipeline.paths import data_folder
from pipeline.report import member_page, summary_page
from pipeline.run import bring_up_to_date
from pipeline.schemas.decision import load_decision
from pipeline.search import Search
from pipeline.store import Store
from pipeline.types import AdviserView, Buyer, Member, MemberView, ReportView, VehicleView


@dataclass(frozen=True, slots=True)
class Advised:
    """The summary and the pages written, the summary's first."""

    view: AdviserView
    paths: tuple[Path, ...]


def advise(
    store: Store, search: Search, members_folder: Path, out: Path, *, contacts: bool, progress: Progress
) -> Advised:
    """Pages into `out`: adviser.html, and members/NAME.html each.

    `contacts`: sellers' telephone numbers, e-mail addresses and plates are left in. Raises UsageError for a folder
    without member files.
    """
    members, refused = read_members(members_folder, search.buyer)
    result = bring_up_to_date(store, search, progress, remember=False)
    pool = Pool.of(result, search, load_decision(data_folder("rules")))
    chosen: dict[str, tuple[list[VehicleView], list[str]]] = {}
    groups: dict[tuple[object, ...], list[tuple[Member, Buyer]]] = {}
    for member, buyer in members:
        groups.setdefault(key_of(buyer), []).append((member, buyer))
    for several in groups.values():
        terms = Terms(pool, several[0][1])
        each = choose(terms, [buyer for _, buyer in several], progress, len(chosen), len(members))
        for (member, _), found in zip(several, each, strict=True):
            chosen[member.key] = found
    names = [member.name for member, _ in members]
    views = tuple(
        _member_view(member, buyer, *chosen[member.key], result.view, names, contacts) for member, buyer in members
    )
    summary = AdviserView(result.view.as_of, search.buyer.search_name, len(pool.views), views, tuple(refused))
    written = write_files(out, {"adviser.html": summary_page(summary)})
    written += write_files(out / "members", {f"{one.member.key}.html": member_page(one) for one in views})
    return Advised(summary, tuple(written))


def _member_view(
    member: Member,
    buyer: Buyer,
    vehicles: list[VehicleView],
    changes: list[str],
    pool: ReportView,
    names: list[str],
    contacts: bool,
) -> MemberView:
    """What goes on one member's page: neither another member's name nor, unless asked, what leads to a seller."""
    shown = [vehicle if contacts else without_contacts(vehicle) for vehicle in vehicles]
    others = [name for name in names if name != member.name]
    kept = masked(tuple(shown), others)
    view = replace(pool, buyer=buyer, vehicles=kept, refusals=(), changes=(), counts={}, apart=())
    return MemberView(member, view, masked(tuple(changes), others, contacts=not contacts))


def as_json(view: AdviserView) -> dict[str, Any]:
    """What `viewworthy advise --json` prints."""
    return {
        "as_of": view.as_of.isoformat(),
        "vehicles": view.vehicles,
        "members": [
            {
                "member": one.member.key,
                "name": one.member.name,
                "best": [vehicle_as_json(vehicle) for vehicle in one.view.vehicles],
                "what_would_change": list(one.changes),
            }
            for one in view.members
        ],
        "refused": [{"source": refusal.source, "reason": refusal.reason} for refusal in view.refusals],
    }
