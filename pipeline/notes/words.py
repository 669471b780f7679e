"""The words in which a person records: "sills: major", "timing_belt: done at 80000", "mileage: 98500".

Names are those of the subjects, of the packs' faults and services, and of the facts; a name that is not known is
refused with the nearest ones. Whatever stands behind the colon in a form that is not known is left to the reader of
free text (`record.py`).
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Literal, get_args

from pipeline.errors import UsageError
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.schemas.notes import NoteRules
from pipeline.types import FACT_KEYS, GRADES, Claim, Finding, Grade, ItemBelief, Learnt, Status

State = Literal["sound", "minor", "major"]
UNSAID = ("unsaid", "not stated", "nothing", "not said")
_NUMBER = re.compile(r"(\d[\d,. ]*)\s*(k|thousand)?\b", re.I)
_AT = re.compile(r"\b(?:at|@)\s*(\d[\d,]*)\s*(k|thousand)?\b(?!\s*/)", re.I)
_YEAR = re.compile(r"\b(?:in\s+)?((?:19|20)\d{2})\b")
_MONTH = re.compile(r"(\d{4})-(\d{2})(?:-\d{2})?")
CHOICES: Mapping[str, tuple[str, ...]] = {
    "price_terms": ("fixed", "negotiable", "offers", "auction"),
    "mileage_unit": ("mi", "km"),
    "fuel": ("petrol", "diesel", "lpg", "hybrid", "electric"),
    "gearbox": ("manual", "auto"),
    "test_state": ("valid", "expired", "none", "exempt"),
    "service_history": ("full", "part", "none"),
}


def split(words: str, option: str) -> tuple[str, str]:
    """Name and rest of "NAME: REST". Raises UsageError with the form wanted."""
    name, colon, rest = words.partition(":")
    if not colon or not name.strip() or not rest.strip():
        raise UsageError(
            f'{option} {words!r}: a name, a colon and what was learnt are wanted, for instance {option} "sills: major"'
        )
    return name.strip(), " ".join(rest.split())


def plain_name(name: str) -> str:
    """A name as it is compared: small letters, one space."""
    return " ".join(name.lower().replace("_", " ").replace("-", " ").split())


def nearest(name: str, known: Sequence[str]) -> str:
    """A remedy that names the nearest of what is known."""
    wanted, by_plain = plain_name(name), {plain_name(one): one for one in known}
    close = difflib.get_close_matches(wanted, by_plain, n=4, cutoff=0.5)
    close += [one for one in by_plain if wanted and wanted in one and one not in close][:4]
    some = [by_plain[one] for one in close[:5]] or sorted(known)[:8]
    return f"Did you mean {', '.join(some)}?" if close else f"Known are {', '.join(some)}, …"


# ---- findings -----------------------------------------------------------------


def finding(
    words: str, subjects: Mapping[str, str], knowledge: Knowledge, belief: Sequence[ItemBelief], rules: NoteRules
) -> Finding:
    """ "sills: major" as a finding. `belief`: what is believed now, which tells which of a subject's items is meant."""
    name, rest = split(words, "--found")
    state = _state(rest, rules)
    if state is None:
        raise UsageError(
            f"--found {words!r}: {rest!r} is no state", remedy="Use sound, minor or major (for a service: done or due)."
        )
    items = _items(knowledge)
    names = {plain_name(key): key for key in items} | {plain_name(item.name): key for key, item in items.items()}
    subject = _named(name, subjects)
    item = names.get(plain_name(name))
    if item is not None:
        return Finding(subject or item, _for_item(state, item, knowledge), (item,))
    if subject is not None:
        meant = _meant(subject, state, knowledge, belief, rules)
        if not meant:
            raise UsageError(
                f"--found {words!r}: {subjects[subject]!r} is no part that can be looked at",
                remedy="Name a part (sills, clutch, tyres, …), or say it with --answer.",
            )
        return Finding(subject, state, meant)
    known = [*subjects, *(item.name for item in items.values())]
    raise UsageError(f"--found {words!r}: {name!r} is no part or subject", remedy=nearest(name, known))


def _items(knowledge: Knowledge) -> dict[str, Fault | Service]:
    return {**knowledge.faults, **knowledge.services}


def _state(rest: str, rules: NoteRules) -> State | None:
    said = rest.lower().strip(" .!")
    states: tuple[State, ...] = ("sound", "minor", "major")
    return next((state for state in states if said in rules.states[state]), None)


def _for_item(state: State, item: str, knowledge: Knowledge) -> State:
    """A service is either kept or overdue, which the network holds as `sound` and `minor`."""
    return "minor" if state == "major" and item in knowledge.services else state


def _meant(
    subject: str, state: State, knowledge: Knowledge, belief: Sequence[ItemBelief], rules: NoteRules
) -> tuple[str, ...]:
    """The items that a finding under a subject is about.

    Sound: all that the subject mostly speaks of. Otherwise the one that is likeliest to be bad in this vehicle, since
    one bad part does not condemn its neighbours.
    """
    shares: dict[str, float] = {}
    for key, item in _items(knowledge).items():
        links = {link.subject: link.share for link in item.speaks if link.subject not in rules.finding.no_parts}
        share = links.get(subject, 0.0)
        if share >= rules.finding.share and share >= max(links.values()):
            shares[key] = share
    if not shares:
        return ()
    bad = {item.item: item.minor + item.major for item in belief}
    if state == "sound":
        return tuple(shares)
    return (max(shares, key=lambda key: shares[key] * bad.get(key, 0.0)),)


# ---- answers ------------------------------------------------------------------


def exact_claim(name: str, rest: str, subjects: Mapping[str, str], rules: NoteRules, learnt: Learnt) -> Claim | None:
    """ "timing_belt: done at 80000 in 2019, bill seen" as a claim; None when it is in other words.

    Raises UsageError for an unknown subject.
    """
    subject = subject_of(name, subjects, "--answer")
    said = rest.lower()
    shown = any(words in said for words in rules.papers)
    for words in rules.papers:
        said = said.replace(words, " ")
    at, year = _AT.search(said), None
    bare = _AT.sub(" ", said)
    year = _YEAR.search(bare)
    bare = " ".join(re.sub(r"[(),.;]", " ", _YEAR.sub(" ", bare)).split())
    grade: Grade = next((grade for grade in GRADES if grade in bare.split()), "plain")
    bare = " ".join(word for word in bare.split() if word not in (*GRADES, "miles", "km"))
    status = next((s for s, words in rules.statuses.items() if bare in words), None)
    if status is None:
        return None
    where: Learnt = "papers" if shown else learnt
    return told_claim(subject, status, rest, where, rules, grade, at and _amount(at), int(year[1]) if year else None)


def told_claim(
    subject: str,
    status: Status,
    quote: str,
    learnt: Learnt,
    rules: NoteRules,
    grade: Grade = "plain",
    at_mileage: int | None = None,
    at_year: int | None = None,
) -> Claim:
    """A claim that stands in no advert; how far it is believed depends on where it was learnt."""
    believed = rules.believed
    confidence = {"call": believed.call, "viewing": believed.viewing, "papers": believed.papers}
    return Claim(
        subject=subject,
        status=status,
        grade=grade,
        quote=quote,
        start=-1,
        end=-1,
        rule=f"note.{learnt}",
        at_mileage=at_mileage,
        at_year=at_year,
        confidence=confidence.get(learnt, believed.correction),
        origin=learnt,
    )


def subject_of(name: str, subjects: Mapping[str, str], option: str) -> str:
    """The code of a subject named by code or name. Raises UsageError with the nearest."""
    code = _named(name, subjects)
    if code is None:
        raise UsageError(f"{option}: {name!r} is no subject and no fact", remedy=nearest(name, [*subjects, *FACT_KEYS]))
    return code


def _named(name: str, subjects: Mapping[str, str]) -> str | None:
    wanted = plain_name(name)
    for code, full in subjects.items():
        if wanted in (plain_name(code), plain_name(full)):
            return code
    return None


def _amount(match: re.Match[str]) -> int:
    number = int(float(match[1].replace(",", "").replace(" ", "").rstrip(".")))
    return number * 1000 if match[2] else number


# ---- facts --------------------------------------------------------------------


def fact_key(name: str) -> str | None:
    """The fact of that name, None when there is none."""
    wanted = plain_name(name).replace(" ", "_")
    other = {"price": "asking_price", "miles": "mileage", "mot": "test_expiry", "history": "service_history"}
    wanted = other.get(wanted, wanted)
    return wanted if wanted in FACT_KEYS else None


def fact_value(key: str, words: str, option: str) -> Any:
    """A fact's value from a person's words; None for "unsaid". Raises UsageError naming what is allowed."""
    said = words.strip()
    if said.lower() in UNSAID:
        return None

    def wrong(allowed: str) -> UsageError:
        return UsageError(f"{option} {key}: {said!r} cannot be used", remedy=f"Give {allowed}, or 'unsaid'.")

    if key in CHOICES:
        if said.lower() not in CHOICES[key]:
            raise wrong(" or ".join(CHOICES[key]))
        return said.lower()
    if key == "currency":
        if not re.fullmatch(r"[A-Za-z]{3}", said):
            raise wrong("a code of three letters such as GBP")
        return said.upper()
    if key == "test_expiry":
        month = _MONTH.fullmatch(said)
        if not month or not 1 <= int(month[2]) <= 12:
            raise wrong("year and month such as 2027-06")
        return f"{month[1]}-{month[2]}"
    if key == "year":
        years = [int(year) for year in re.findall(r"\d{4}", said)]
        if not years or not all(1885 <= year <= date.today().year + 1 for year in years):
            raise wrong("a year such as 1994, or two")
        return years
    if key == "plate":
        return said.upper()
    if key == "vin":
        return said.upper()
    number = _NUMBER.fullmatch(said.lstrip("£$€ "))
    if not number:
        raise wrong("a number")
    if key == "engine_litres":
        return float(number[1].replace(",", "."))
    amount = _amount(number)
    if key == "owners" and not 0 < amount < 100:
        raise wrong("a number of owners")
    return amount


def statuses() -> tuple[Status, ...]:
    """The statuses in the order in which a form offers them."""
    return get_args(Status)
