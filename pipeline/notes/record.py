"""Makes a note from what a person gives, stores it, takes it back; looks before and after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.nlp.advert import AdvertReader
from pipeline.notes.apply import RULE
from pipeline.notes.words import UNSAID, exact_claim, fact_key, fact_value, finding, split, subject_of, told_claim
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.schemas.notes import NoteRules, load_note_rules
from pipeline.schemas.subjects import load_subjects
from pipeline.search import Search
from pipeline.store import Store
from pipeline.types import (
    AdvertView,
    Claim,
    ClaimCorrection,
    FactCorrection,
    Fate,
    Learnt,
    Note,
    Status,
    VehicleView,
)

MOST_TEXT = 20_000  # characters of a note


@dataclass(frozen=True, slots=True)
class Given:
    """What a person gives to be recorded, in words. Money in the buyer's currency."""

    found: Sequence[str] = ()
    answers: Sequence[str] = ()
    text: str = ""
    photos: Sequence[str] = ()
    price_agreed: float | None = None
    price_refused: float | None = None
    no_less: bool = False
    fate: Fate = ""
    corrections: Sequence[str] = ()
    learnt: Learnt | None = None  # None: at a viewing when something was found, else on the telephone

    @property
    def empty(self) -> bool:
        return self == replace(Given(), learnt=self.learnt)


@dataclass
class Recorder:
    """Knows the words of one search: its packs' parts, the subjects, the reader of free text (loaded when wanted)."""

    search: Search
    rules_folder: Path = field(default_factory=lambda: data_folder("rules"))

    @cached_property
    def rules(self) -> NoteRules:
        return load_note_rules(self.rules_folder)

    @cached_property
    def subjects(self) -> dict[str, str]:
        return load_subjects(self.rules_folder).names

    @cached_property
    def knowledge(self) -> Knowledge:
        extra = [self.search.packs] if self.search.packs.is_dir() else []
        return load_knowledge(self.search.buyer.packs, self.rules_folder, extra)

    @cached_property
    def reader(self) -> AdvertReader:
        return AdvertReader(self.rules_folder)

    def note(self, given: Given, vehicle: VehicleView, advert_id: str, day: date) -> Note:
        """A note that can be stored. Raises UsageError naming what cannot be used and what could be meant."""
        for price, option in ((given.price_agreed, "--price-agreed"), (given.price_refused, "--price-refused")):
            if price is not None and not 0 <= price < 1e9:
                raise UsageError(f"{option} {price:g} is no price")
        if len(given.text) > MOST_TEXT:
            raise UsageError(f"the text has {len(given.text):,} characters", remedy=f"At most {MOST_TEXT:,} are kept.")
        belief = vehicle.prospect.repair.items
        learnt: Learnt = given.learnt or ("viewing" if given.found else "call")
        claims: list[Claim] = []
        facts = {}
        for words in given.answers:
            name, rest = split(words, "--answer")
            key = fact_key(name)
            if key is not None:
                facts[key] = fact_value(key, rest, "--answer")
            else:
                claims += self._answer(name, rest, learnt, day)
        right_facts: list[FactCorrection] = []
        right_claims: list[ClaimCorrection] = []
        for words in given.corrections:
            name, rest = split(words, "--correct")
            key = fact_key(name)
            if key is not None:
                value = fact_value(key, rest, "--correct")
                stating = [t for t in vehicle.texts if t.reading.fact(key) is not None] or vehicle.texts[:1]
                right_facts += [fact_correction(advert, key, value) for advert in stating]
            else:
                right_claims += self._corrections(name, rest, vehicle)
        return Note(
            number=0,
            advert_id=advert_id,
            day=day,
            learnt="reading" if right_facts or right_claims else learnt,
            text=_clean(given.text),
            findings=tuple(finding(words, self.subjects, self.knowledge, belief, self.rules) for words in given.found),
            answers=tuple(claims),
            facts=facts,
            photos=tuple(_clean(name) for name in given.photos),
            price_agreed=given.price_agreed,
            price_refused=given.price_refused,
            no_less=given.no_less,
            fate=given.fate,
            fact_corrections=tuple(right_facts),
            claim_corrections=tuple(right_claims),
        )

    def _answer(self, name: str, rest: str, learnt: Learnt, day: date) -> list[Claim]:
        """The exact form, else what the reader of adverts makes of the words."""
        claim = exact_claim(name, rest, self.subjects, self.rules, learnt)
        if claim is not None:
            return [claim]
        subject = subject_of(name, self.subjects, "--answer")
        called = self.subjects[subject].split(",")[0].split(" or ")[0]
        read = [
            told_claim(subject, c.status, rest, learnt, self.rules, c.grade, c.at_mileage, c.at_year)
            for words in (rest, f"{called} {rest}")
            for c in self.reader.read(words, day).claims
            if c.subject == subject
        ]
        if not read:
            raise UsageError(
                f"--answer {name!r}: {rest!r} tells nothing of it",
                remedy="Say present, absent, done, due or possible, with a grade (slight, heavy), "
                "'at 80000' or 'in 2019' where known; or put it into --text.",
            )
        seen: dict[Status, Claim] = {}
        for one in read:
            seen.setdefault(one.status, one)
        return list(seen.values())

    def _corrections(self, name: str, rest: str, vehicle: VehicleView) -> list[ClaimCorrection]:
        """For every advert of the vehicle that speaks of the subject, else for its newest."""
        subject = subject_of(name, self.subjects, "--correct")
        claim = None
        if rest.lower() not in UNSAID:
            claim = exact_claim(name, rest, self.subjects, self.rules, "reading")
            if claim is None:
                raise UsageError(
                    f"--correct {name!r}: {rest!r} is no status",
                    remedy="Say present, absent, done, due, possible or unsaid, with a grade (slight, heavy), "
                    "'at 80000' or 'in 2019' where known.",
                )
        speaking = [t for t in vehicle.texts if any(c.subject == subject for c in t.reading.claims)]
        return [claim_correction(advert, subject, claim) for advert in speaking or vehicle.texts[:1]]


# ---- corrections ------------------------------------------------------------------


def fact_correction(advert: AdvertView, key: str, value: object) -> FactCorrection:
    """What an advert really states, with what had been read there."""
    old = next((f for f in advert.reading.facts if f.key == key), None)
    return FactCorrection(advert.advert_id, key, value, old.value if old else None, old.quote if old else "")


def claim_correction(
    advert: AdvertView, subject: str, claim: Claim | None, instead_of: str | None = None
) -> ClaimCorrection:
    """What an advert really says of a subject; the words that had been read so go with it."""
    read = [c for c in advert.reading.claims if c.subject == subject and instead_of in (None, c.status)]
    quote = read[0].quote if len(read) == 1 and instead_of != "" else ""
    right = None if claim is None else replace(claim, quote=quote, rule=RULE, confidence=1.0, origin="correction")
    return ClaimCorrection(advert.advert_id, subject, right, instead_of, quote)


# ---- storing ------------------------------------------------------------------------


def anchor(store: Store, vehicle: VehicleView) -> str:
    """The advert that a vehicle's notes hang on: its first, which gave it its number."""
    numbers = store.advert_numbers()
    return min((text.advert_id for text in vehicle.texts), key=lambda key: numbers[key])


def undo(store: Store, vehicle: VehicleView) -> Note:
    """Takes the vehicle's newest note back. Raises UsageError when there is none."""
    live = [note for note in vehicle.notes if not note.undone]
    if not live:
        raise UsageError(f"nothing is recorded of {vehicle.ref}", remedy="'viewworthy note REF --history' lists notes.")
    store.undo_note(live[-1].number)
    return live[-1]


def _clean(words: str) -> str:
    """What can be stored as UTF-8."""
    return words.encode("utf-8", "replace").decode("utf-8").replace("\0", " ").strip()
