"""What changed in a search since it was last told, and the plain text that a night leaves for mail or print."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from pipeline.types import ReportView, VehicleView

SHOWN = 10  # vehicles at the head of the digest
MOST = 100  # sentences under a heading: a mail, not a list of the market
MOVED_PLACES = 3  # among those that were there before; less is not worth a line
WIDTH = 78  # for mail


@dataclass(frozen=True, slots=True)
class Changes:
    """Sentences by kind; each list may be empty."""

    new: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    price: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()
    answered: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return any(getattr(self, field.name) for field in fields(self))


HEADINGS = {
    "new": "New",
    "gone": "Gone",
    "price": "Price changed",
    "moved": "Moved, and why",
    "answered": "Now answered by the advert",
}


def standing(view: ReportView, versions: Mapping[str, str]) -> dict[str, Any]:
    """What the next telling needs to say what changed: JSON-able, a few hundred bytes a vehicle."""
    terms = view.buyer
    return {
        "versions": dict(versions),
        "terms": [terms.home, terms.purpose, terms.budget_total, terms.labour_rate, terms.guide_price,
                  terms.does_own_work, sorted((k, list(v)) for k, v in terms.must.items())],
        "vehicles": {v.ref: _stands(n, v) for n, v in enumerate(view.vehicles, 1)},
        "apart": [v.ref for v in view.apart],
        "passed over": [one.ref for one in view.passed_over],
    }  # fmt: skip


def _stands(place: int, view: VehicleView) -> dict[str, Any]:
    row, evidence = view.ranked, view.prospect.evidence
    return {
        "title": view.title,
        "place": place,
        "verdict": row.verdict,
        "worth": row.visit_worth,
        "price": view.prospect.asking_price,
        "sound": row.sound_value.mean if row.sound_value else None,
        "repair": row.repair_cost.mean,
        "miles": view.prospect.distance_miles,
        "gone": view.gone,
        "asked": [[q.text, list(q.subjects), q.rule] for q in row.questions],
        "said": sorted(
            {f"{c.subject} {c.status}" for c in evidence.claims} | {f"fact {key}" for key in evidence.facts}
        ),
    }


def changes(before: Mapping[str, Any] | None, now: Mapping[str, Any], currency: str) -> Changes:
    """What is different now. Without a `before` there is nothing to compare with."""
    if before is None:
        return Changes()
    old, new = before["vehicles"], now["vehicles"]
    known, still = {*before["apart"], *before.get("passed over", ())}, {*now["apart"], *now.get("passed over", ())}
    came = [ref for ref in new if ref not in old and ref not in known]
    stayed = [ref for ref in new if ref in old]
    lost = [row["title"] for ref, row in old.items() if ref not in new and ref not in still]
    lost += [new[ref]["title"] for ref in stayed if new[ref]["gone"] and not old[ref]["gone"]]
    then = {ref: n for n, ref in enumerate(sorted(stayed, key=lambda ref: old[ref]["place"]), 1)}
    general = _general(before, now)
    price, moved, answered = [], [], []
    for place, ref in enumerate(stayed, 1):
        was, is_ = old[ref], new[ref]
        if was["price"] != is_["price"]:
            price.append(f"{is_['title']}: {_price(was['price'], is_['price'], currency)}")
        if was["verdict"] != is_["verdict"] or abs(then[ref] - place) >= MOVED_PLACES:
            way = f"{was['verdict']} → {is_['verdict']}" if was["verdict"] != is_["verdict"] else ""
            places = f"place {was['place']} → {is_['place']}"
            why = _why(was, is_, currency) or general or ["the others moved"]
            moved.append(f"{is_['title']}: {', '.join(filter(None, (way, places)))}; {', '.join(why)}")
        answered += [f"{is_['title']}: {text}" for text in _answered(was, is_)]
    return Changes(
        new=tuple(f"{new[ref]['title']}: {new[ref]['verdict']}, place {new[ref]['place']}" for ref in came),
        gone=tuple(lost),
        price=tuple(price),
        moved=tuple(moved),
        answered=tuple(answered),
    )


def _price(was: float | None, is_: float | None, currency: str) -> str:
    if was is None or is_ is None:
        return "now gives a price" if was is None else "no longer gives a usable price"
    return f"{'down' if is_ < was else 'up'} from {currency} {was:,.0f} to {is_:,.0f}"


def _why(was: Mapping[str, Any], is_: Mapping[str, Any], currency: str) -> list[str]:
    """What moved it most, dearest first; then what the advert now says and did not."""
    parts = []
    for key, name in (("price", "price"), ("repair", "expected repairs"), ("sound", "sound value")):
        if was[key] is not None and is_[key] is not None and abs(is_[key] - was[key]) >= 25:
            less = is_[key] < was[key]
            parts.append((abs(is_[key] - was[key]), f"{name} {currency} {abs(is_[key] - was[key]):,.0f} "
                          f"{'less' if less else 'more'}"))  # fmt: skip
    said = [
        words.split()[0].replace("_", " ") for words in is_["said"] if words not in was["said"] and "fact" not in words
    ]
    told = [text for _, text in sorted(parts, reverse=True)]
    return told + ([f"the advert now speaks of {', '.join(dict.fromkeys(said))}"] if said else [])


def _general(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    found = []
    if before["versions"] != now["versions"]:
        found.append("the rules changed")
    if before["terms"] != now["terms"]:
        found.append("your terms changed")
    return found


def _answered(was: Mapping[str, Any], is_: Mapping[str, Any]) -> list[str]:
    """Questions of last time that are asked no more and of which the advert now speaks."""
    asked = {text for text, _, _ in is_["asked"]}
    newly = set(is_["said"]) - set(was["said"])
    subjects, facts = {words.split()[0] for words in newly}, {words.removeprefix("fact ") for words in newly}
    return [
        text
        for text, about, rule in was["asked"]
        if text not in asked and (subjects & set(about) or rule.removeprefix("must.") in facts)
    ]


def digest(view: ReportView, told: Changes, refused: Sequence[str], page: str, first: bool) -> str:
    """The night in plain text, lines of at most 78 characters."""
    lines = [f"{view.buyer.search_name or 'search'}, {view.as_of:%d %B %Y}", ""]
    best = [v for v in view.vehicles if not v.gone][:SHOWN]
    for n, vehicle in enumerate(best, 1):
        worth = vehicle.ranked.visit_worth
        shown = f"visit worth {view.buyer.currency} {worth:,.0f}" if worth is not None else "not valued"
        lines += _wrapped(f"{n:>2}. {vehicle.ranked.verdict}: {vehicle.title} ({shown})", "    ")
    if not best:
        lines.append("No adverts yet.")
    for field in fields(told):
        lines += _section(HEADINGS[field.name], getattr(told, field.name))
    if not told:
        lines += ["", "The first night: nothing to compare with." if first else "Nothing else has changed."]
    lines += _section("Not read", refused)
    if view.passed_over:
        lines += ["", f"{len(view.passed_over):,} more were passed over at a quick look."]
    lines += ["", f"The page: {page}", "An estimate is a reasoned guess from an advert, no inspection."]
    return "\n".join(lines) + "\n"


def _section(heading: str, sentences: Sequence[str]) -> list[str]:
    if not sentences:
        return []
    more = [f"- and {len(sentences) - MOST:,} more"] if len(sentences) > MOST else []
    return ["", heading, *(line for text in sentences[:MOST] for line in _wrapped(f"- {text}", "  ")), *more]


def _wrapped(text: str, indent: str) -> list[str]:
    plain = "".join(c if c.isprintable() else " " for c in text)
    return textwrap.wrap(plain, WIDTH, subsequent_indent=indent, break_on_hyphens=False)
