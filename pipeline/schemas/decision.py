"""What the decision goes by: visits, paying, purposes, red flags, questions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field

from pipeline.rules import RuleId, RuleModel, Source, read_rules
from pipeline.schemas.registration import Registration, load_registration
from pipeline.types import Purpose, Status

Share = Annotated[float, Field(ge=0, le=1)]
Amount = Annotated[float, Field(ge=0)]


class Visit(RuleModel):
    """What a visit costs: road miles for straight ones, speed in miles an hour, hours there, fee.

    `day_hours`: a journey longer than this, there and back with the viewing, takes a night away at `night`.
    """

    road_over_straight: Annotated[float, Field(ge=1)]
    speed_mph: Annotated[float, Field(gt=0)]
    hours_there: Amount
    fee: Amount
    day_hours: Annotated[float, Field(gt=0)]
    night: Amount
    source: Source


class Call(RuleModel):
    """A telephone call: the buyer's hours and fee, hours for each question, and when to settle a price by it."""

    hours: Amount
    fee: Amount
    question_hours: Amount
    settle_share: Share
    source: Source


class Revealed(RuleModel):
    revealed_share: Share
    source: Source


class Paying(RuleModel):
    """What is expected to come off the asking price, as a share of it."""

    fixed: Share
    negotiable: Share
    offers: Share
    auction: Share
    silence: Share
    found_off: Share
    round_to: Annotated[float, Field(gt=0)]
    source: Source

    def off(self, price_terms: str | None) -> float:
        return float(getattr(self, price_terms or "silence"))


class Budget(RuleModel):
    soft_over: Share
    source: Source


class Outside(RuleModel):
    """`share` of the middling sound value lost on an ordinary one; that judgement counts as so many `adverts`."""

    share: Share
    adverts: Annotated[float, Field(gt=0)]
    source: Source


class QuickLook(RuleModel):
    """Above so many vehicles only a `sample` and the `best` by a quick look are worked out in full."""

    above: Annotated[int, Field(ge=1)]
    sample: Annotated[int, Field(ge=50)]
    best: Annotated[int, Field(ge=1)]
    source: Source


class Decision(RuleModel):
    visit: Visit
    call: Call
    value: Revealed
    paying: Paying
    outside: Outside
    budget: Budget
    quick_look: QuickLook
    least_chance: Share
    worst_share: Annotated[float, Field(gt=0, le=1)]
    source: Source


class PurposeRule(RuleModel):
    id: Purpose
    modified: Amount
    written_off: Amount
    repair_groups: Mapping[str, Amount]
    beyond: Amount  # share of the sound value from which on expected repair rules it out
    source: Source


class Purposes(RuleModel):
    purposes: tuple[PurposeRule, ...]


class Condition(RuleModel):
    subject: RuleId
    statuses: tuple[Status, ...]
    words: tuple[str, ...] = ()
    not_words: tuple[str, ...] = ()


class FlagRule(RuleModel):
    id: RuleId
    text: str
    verify: str
    disqualifies: bool
    when: tuple[Condition, ...]
    valuation_flags: tuple[str, ...] = ()
    unless_admitted: int | None = None  # so many faults told lift the flag
    unless_words: tuple[str, ...] = ()  # words anywhere in the advert's quotes that lift the flag
    unless_after: tuple[str, ...] = ()  # words after those that raise it, not denied, that lift the flag
    with_any: tuple[Condition, ...] = ()  # one of these must hold as well
    unless: tuple[Condition, ...] = ()  # any of these lifts the flag
    facts: Mapping[str, tuple[str, ...]] = {}  # facts that raise it by themselves
    not_purposes: tuple[Purpose, ...] = ()  # for buyers of these purposes it is no flag
    checks: tuple[str, ...] = ()  # findings of `ranking/identity.py` and `doubts.py` that raise it
    source: Source


class Together(RuleModel):
    id: RuleId
    text: str
    verify: str
    flags: tuple[RuleId, ...]
    least: Annotated[int, Field(ge=2)]
    source: Source


class IdentityRules(RuleModel):
    """How far facts may disagree: years, a factor of miles; after which year a chassis number has 17 characters."""

    years_apart: int
    miles_apart: Annotated[float, Field(ge=1)]
    long_vin_after: int
    source: Source


class FlagRules(RuleModel):
    identity: IdentityRules
    repair_words_in: tuple[RuleId, ...]
    no_faults: tuple[RuleId, ...]  # subjects that do not count as faults told
    sure: Share  # least confidence of a claim whose flag disqualifies; below it the flag only stands
    heard: Share  # least confidence of a claim that raises a flag at all
    denied: tuple[str, ...]  # words that, among the `denied_within` before others, take them back
    denied_within: Annotated[int, Field(ge=1)]
    flags: tuple[FlagRule, ...]
    together: tuple[Together, ...] = ()


class QuestionRule(RuleModel):
    id: RuleId
    subjects: tuple[RuleId, ...]
    text: str
    proof: bool = False  # a paper settles it, so that the answer is believed further
    source: Source


class SilenceRule(RuleModel):
    """A fact that goes without saying: silence on it stands for these values."""

    fact: str
    means: tuple[str, ...]
    not_regions: tuple[str, ...] = ()
    source: Source


class QuestionRules(RuleModel):
    says_bad: Share
    proof_says_bad: Share
    cries_wolf: Share
    source: Source
    questions: tuple[QuestionRule, ...]
    must: str
    must_words: Mapping[str, str]
    price: str  # over the budget
    settle: str  # told work, and room on the price
    far: str  # a journey that takes a night
    silence: tuple[SilenceRule, ...] = ()


class EssentialRule(RuleModel):
    id: RuleId
    weight: Annotated[float, Field(gt=0, le=1)]
    subjects: tuple[RuleId, ...] = ()
    facts: tuple[str, ...] = ()
    item: RuleId | None = None  # the item on whose chance of needing work the weight hangs
    done_claims: int | None = None  # so many pieces of work told of tell it too
    not_regions: tuple[str, ...] = ()
    ask: str
    praise: str = ""  # what its subjects told as good alone speak for
    source: Source


class EssentialRules(RuleModel):
    blind: Annotated[int, Field(ge=1)]
    least_weight: Share
    praised_work: tuple[RuleId, ...] = ()  # subjects whose work done speaks for a vehicle
    source: Source
    essentials: tuple[EssentialRule, ...]


@dataclass(frozen=True, slots=True)
class DecisionRules:
    decision: Decision
    purposes: Mapping[str, PurposeRule]
    flags: FlagRules
    questions: QuestionRules
    essentials: EssentialRules
    registration: Registration


def load_decision(rules: Path) -> DecisionRules:
    """`decision/*.yaml` of a rules folder. Raises RuleError naming file and line."""
    folder = rules / "decision"
    purposes = read_rules(folder / "purposes.yaml", Purposes, "rules/decision/purposes.yaml")
    return DecisionRules(
        read_rules(folder / "decision.yaml", Decision, "rules/decision/decision.yaml"),
        {purpose.id: purpose for purpose in purposes.purposes},
        read_rules(folder / "flags.yaml", FlagRules, "rules/decision/flags.yaml"),
        read_rules(folder / "questions.yaml", QuestionRules, "rules/decision/questions.yaml"),
        read_rules(folder / "essentials.yaml", EssentialRules, "rules/decision/essentials.yaml"),
        load_registration(rules),
    )
