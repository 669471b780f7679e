"""Notes in words, for the history of a vehicle and for what a note was taken to mean."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.report import words
from pipeline.types import Claim, Note, Reading

LEARNT = {
    "call": "on the telephone",
    "viewing": "at the viewing",
    "papers": "from papers",
    "reading": "from reading the advert",
}

FATES = {"bought": "bought", "sold": "sold to somebody else", "gone": "no longer for sale"}


def heading(note: Note) -> str:
    """`note 3, 29 November 2026, at the viewing`."""
    taken = ", taken back" if note.undone else ""
    return f"note {note.number}, {words.day(note.day)}, {LEARNT[note.learnt]}{taken}"


def lines(
    note: Note, names: Mapping[str, str], items: Mapping[str, str], currency: str, read: Reading | None = None
) -> list[str]:
    """What a note holds, a line each. `names`: of subjects, `items`: of faults and services; `read`: of its text."""
    found = []
    if note.text:
        found.append(f"“{note.text}”")
    for claim in read.claims if read else ():
        found.append(f"read in it: {_claim(claim, names)}")
    for finding in note.findings:
        about = names.get(finding.about) or items.get(finding.about) or words.spoken(finding.about)
        meant = ", ".join(items.get(item, words.spoken(item)) for item in finding.items)
        found.append(f"found: {about} {finding.state}" + (f" (taken as: {meant})" if meant and meant != about else ""))
    found += [f"answered: {_claim(claim, names)}" for claim in note.answers]
    found += [f"answered: {words.fact_name(key)} {_value(key, value)}" for key, value in note.facts.items()]
    for right in note.fact_corrections:
        was = "" if right.was is None else f" (was read as {words.fact_value(right.key, right.was)})"
        found.append(f"corrected: {words.fact_name(right.key)} {_value(right.key, right.value)}{was}")
    for said in note.claim_corrections:
        now = "nothing said" if said.claim is None else _claim(said.claim, {said.subject: ""}).strip(": ")
        found.append(f"corrected: {words.subject(said.subject, names)}: {now}")
    if note.price_agreed is not None:
        found.append(f"price agreed: {words.money(note.price_agreed, currency)}")
    if note.price_refused is not None:
        found.append(f"offer refused: {words.money(note.price_refused, currency)}")
    if note.no_less:
        found.append("the seller takes the asking price or nothing")
    found += [f"photograph: {name}" for name in note.photos]
    if note.fate:
        found.append(FATES[note.fate])
    return found


def _claim(claim: Claim, names: Mapping[str, str]) -> str:
    name = words.subject(claim.subject, names) if names.get(claim.subject) != "" else ""
    grade = "" if claim.grade == "plain" else f", {claim.grade}"
    when = words.claim_when(claim)
    return f"{name}: {words.STATUS_WORDS[claim.status]}{grade}" + (f", {when}" if when else "")


def _value(key: str, value: object) -> str:
    return "not stated" if value is None else words.fact_value(key, value)
