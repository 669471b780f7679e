"""What notes make of readings and of a vehicle's evidence. Nothing of a reading is overwritten in the store.

A correction holds for every snapshot of its advert, those saved later and those read again by newer rules, for as
long as the words that it corrects still stand there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from pipeline.schemas.notes import NoteRules
from pipeline.types import Claim, ClaimCorrection, Fact, FactCorrection, Fate, Note, Reading, Snapshot

RULE = "note.correction"
NOTHING_READ = Reading((), ())


@dataclass(frozen=True, slots=True)
class Recorded:
    """What the buyer's notes add to one vehicle. `first` outweighs the adverts' facts, `last` fills their silence."""

    notes: tuple[Note, ...] = ()  # undone ones too
    first: Reading = NOTHING_READ
    last: Reading = NOTHING_READ
    findings: Mapping[str, str] | None = None
    agreed: float | None = None
    least: float | None = None
    no_less: bool = False
    fate: Fate = ""

    def least_price(self, asking: float | None) -> float | None:
        """What the seller must at least be paid, as far as refusals tell."""
        return asking if self.no_less else self.least


# ---- corrections ----------------------------------------------------------------


def corrected(
    readings: Mapping[int, Reading], snapshots: Sequence[Snapshot], notes: Sequence[Note], rules: NoteRules
) -> dict[int, Reading]:
    """The readings with the buyer's corrections in them."""
    facts: dict[str, list[tuple[date, FactCorrection]]] = {}
    claims: dict[str, list[ClaimCorrection]] = {}
    for note in notes:
        if not note.undone:
            for right in note.fact_corrections:
                facts.setdefault(right.advert_id, []).append((note.day, right))
            for said in note.claim_corrections:
                claims.setdefault(said.advert_id, []).append(said)
    found = dict(readings)
    for snapshot in snapshots:
        advert, reading = snapshot.advert, readings.get(snapshot.snapshot_id)
        if reading is None:
            continue
        read_before = reading
        for day, right in facts.get(advert.advert_id, ()):
            reading = _right_fact(reading, read_before, snapshot, right, day, rules)
        for said in claims.get(advert.advert_id, ()):
            if not said.quote or said.quote in advert.text:
                reading = _right_claim(reading, advert.text, said)
        found[snapshot.snapshot_id] = reading
    return found


def _right_fact(
    reading: Reading, read: Reading, snapshot: Snapshot, right: FactCorrection, day: date, rules: NoteRules
) -> Reading:
    text = snapshot.advert.text
    if right.key in rules.changing and not _still_there(read, snapshot, right, day):
        ended = Fact(right.key, right.value, right.quote, -1, -1, RULE, 0.0, f"corrected on {day}, reworded since")
        return replace(reading, rivals=(*reading.rivals, ended))
    old = [fact for fact in reading.facts if fact.key == right.key]
    kept = tuple(fact for fact in reading.facts if fact.key != right.key)
    rivals = (*reading.rivals, *(fact for fact in old if fact.rule != RULE))
    if right.value is None:
        return replace(reading, facts=kept, rivals=rivals)
    start = text.find(right.quote) if right.quote else -1
    end = start + len(right.quote) if start >= 0 else -1
    quote = right.quote if start >= 0 else ""
    fact = Fact(right.key, right.value, quote, start, end, RULE, 1.0, "correction")
    return replace(reading, facts=(*kept, fact), rivals=rivals)


def _still_there(read: Reading, snapshot: Snapshot, right: FactCorrection, day: date) -> bool:
    """Whether the words that were corrected are still the seller's."""
    if right.quote:
        return right.quote in snapshot.advert.text
    return snapshot.saved_on <= day or read.fact(right.key) == right.was


def _right_claim(reading: Reading, text: str, said: ClaimCorrection) -> Reading:
    def wrong(claim: Claim) -> bool:
        if claim.subject != said.subject or said.instead_of == "":
            return False
        if said.instead_of is None or claim.status == said.instead_of:
            return True
        return bool(said.quote) and (claim.quote in said.quote or said.quote in claim.quote)

    kept = tuple(claim for claim in reading.claims if not wrong(claim))
    if said.claim is None:
        return replace(reading, claims=kept)
    right = said.claim
    start = text.find(right.quote) if right.quote else -1
    end = start + len(right.quote) if start >= 0 else -1
    kept = tuple(c for c in kept if (c.subject, c.status) != (right.subject, right.status))
    return replace(reading, claims=(*kept, replace(right, start=start, end=end)))


# ---- answers, findings, prices ------------------------------------------------------


def recorded(notes: Sequence[Note], readings: Mapping[int, Reading], rules: NoteRules) -> Recorded:
    """What one vehicle's notes, oldest first, come to: the newest word on each thing counts."""
    claims: dict[str, tuple[Claim, ...]] = {}
    facts: dict[str, Fact] = {}
    filling: dict[str, Fact] = {}
    findings: dict[str, str] = {}
    agreed: float | None = None
    least: float | None = None
    no_less = False
    fate: Fate = ""
    for note in notes:
        if note.undone:
            continue
        read = readings.get(note.number, NOTHING_READ)
        claims |= note_claims(note, read, rules)
        filling |= {fact.key: fact for fact in text_facts(read, note, rules)}
        facts |= {
            key: Fact(key, value, f"{key}: {value}", -1, -1, f"note.{note.learnt}", 1.0, note.learnt)
            for key, value in note.facts.items()
        }
        for finding in note.findings:
            findings |= {finding.about: finding.state} | dict.fromkeys(finding.items, finding.state)
        if note.price_agreed is not None:
            agreed, no_less = note.price_agreed, False
        if note.price_refused is not None:
            agreed, least = None, max(least or 0.0, note.price_refused)
        if note.no_less:
            agreed, no_less = None, True
        fate = note.fate or fate
    first = Reading(tuple(facts.values()), tuple(claim for said in claims.values() for claim in said))
    last = Reading(tuple(filling.values()), ())
    return Recorded(tuple(notes), first, last, findings, agreed, least, no_less, fate)


def note_claims(note: Note, read: Reading, rules: NoteRules) -> dict[str, tuple[Claim, ...]]:
    """Subject -> what a note says of it: its answers, else what was read in its text."""
    said: dict[str, tuple[Claim, ...]] = {}
    share = rules.believed.text_share
    for claim in read.claims:
        told = replace(
            claim,
            start=-1,
            end=-1,
            rule=f"note.text:{claim.rule}",
            confidence=claim.confidence * share,
            origin=note.learnt,
        )
        said[claim.subject] = (*said.get(claim.subject, ()), told)
    answered: dict[str, tuple[Claim, ...]] = {}
    for claim in note.answers:
        answered[claim.subject] = (*answered.get(claim.subject, ()), claim)
    return said | answered


def text_facts(read: Reading, note: Note, rules: NoteRules) -> tuple[Fact, ...]:
    """The facts that a note's free text may fill in."""
    return tuple(
        replace(fact, start=-1, end=-1, rule=f"note.text:{fact.rule}", origin=note.learnt)
        for fact in read.facts
        if fact.key in rules.text_facts
    )


def outdated(claim: Claim, told: Iterable[Claim]) -> bool:
    """Whether the buyer has heard better since: a definite word ends a "perhaps", "done" ends a "due"."""
    newer = {one.status for one in told if one.subject == claim.subject}
    if claim.status == "possible":
        return bool(newer - {"possible"})
    return claim.status == "due" and "done" in newer
