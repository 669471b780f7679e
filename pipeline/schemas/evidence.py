"""Tables of what adverts say: probabilities of claims, of silence and of facts, given a state."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field, model_validator

from pipeline.rules import RuleId, RuleModel, Source
from pipeline.types import GRADES, STATUSES

Chance = Annotated[float, Field(ge=0, le=1)]
SUM_TOLERANCE = 1e-6


class ReportTable(RuleModel):
    """P(what the advert says of a subject | state), one row a state; `base`: when it speaks of something else.

    A row gives `silence` and the statuses; a status is a number, split over the grades by `grade_split`, or a
    mapping of grades. `done_old` is `done` at least `old_after_years` before the advert (underseal from new).
    """

    id: RuleId
    rows: Mapping[str, Mapping[str, float | Mapping[str, float]]]
    grade_split: Mapping[str, Chance] = Field(default_factory=lambda: {"slight": 0.1, "plain": 0.85, "heavy": 0.05})
    old_after_years: float | None = None
    old_words: tuple[str, ...] = ()  # pieces of an undated quote that tell upkeep, not a cover-up: as `done_old`
    doubtful_done: bool = False  # work done here may hide what it covers, so that it need not be a comfort
    source: Source

    @model_validator(mode="after")
    def _sums(self) -> ReportTable:
        for state, row in self.rows.items():
            if unknown := set(row) - {"silence", "done_old", *STATUSES}:
                raise ValueError(f"row {state}: unknown outcome {sorted(unknown)[0]!r}")
            total = sum(self.cells(state).values())
            if abs(total - 1) > SUM_TOLERANCE:
                raise ValueError(f"row {state} sums to {total:.6g}, not 1")
        if abs(sum(self.grade_split.values()) - 1) > SUM_TOLERANCE or set(self.grade_split) != set(GRADES):
            raise ValueError("grade_split: slight, plain and heavy must sum to 1")
        return self

    def cells(self, state: str) -> dict[tuple[str, str], float]:
        """(status, grade) -> probability for one row; silence is ("silence", "")."""
        found: dict[tuple[str, str], float] = {}
        for outcome, value in self.rows[state].items():
            if isinstance(value, Mapping):
                found |= {(outcome, grade): float(value.get(grade, 0.0)) for grade in GRADES}
            elif outcome == "silence":
                found[("silence", "")] = float(value)
            else:
                found |= {(outcome, grade): float(value) * self.grade_split[grade] for grade in GRADES}
        return found

    def chance(self, state: str, status: str, grade: str = "plain", share: float = 1.0) -> float:
        """P(outcome | state); with probability 1 - `share` the advert speaks of something else (row `base`).

        A table without `done_old` treats it as `done`.
        """
        if status == "done_old" and not any("done_old" in row for row in self.rows.values()):
            status = "done"
        key = (status, "" if status == "silence" else grade)
        own = self.cells(state).get(key, 0.0)
        return own if share >= 1 else share * own + (1 - share) * self.cells("base").get(key, 0.0)


class Outcome(RuleModel):
    """A value of a fact: one of `is`, or a number from `from` up to below `below`; neither: the fact is not stated."""

    is_: tuple[str | int, ...] = Field(default=(), alias="is")
    from_: float | None = Field(default=None, alias="from")
    below: float | None = None

    def fits(self, value: Any) -> bool:
        if value is None:
            return not self.is_ and self.from_ is None and self.below is None
        if value in self.is_:
            return True
        if self.from_ is None and self.below is None:
            return False
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return False
        return (self.from_ is None or value >= self.from_) and (self.below is None or value < self.below)


class FactTable(RuleModel):
    """P(outcome of a fact | state). Besides the facts: `test` (months left, below nought since; else expired, none,
    exempt, valid), `miles_per_year`, `disclosures` (subjects that the advert admits), `text_words`."""

    id: RuleId
    fact: str
    outcomes: Mapping[str, Outcome]
    rows: Mapping[str, Mapping[str, Chance]]
    source: Source

    @model_validator(mode="after")
    def _sums(self) -> FactTable:
        for state, row in self.rows.items():
            if set(row) != set(self.outcomes):
                raise ValueError(f"row {state} does not give each of {', '.join(self.outcomes)}")
            if abs(sum(row.values()) - 1) > SUM_TOLERANCE:
                raise ValueError(f"row {state} sums to {sum(row.values()):.6g}, not 1")
        return self

    def outcome(self, value: Any) -> str | None:
        """Name of the first outcome that the value fits, or None: no information."""
        return next((name for name, outcome in self.outcomes.items() if outcome.fits(value)), None)


class Candour(RuleModel):
    """How much silence tells, by how frank and how long the advert is: P(silence | state) is raised to `power`.

    What is said instead keeps its proportions, so that rows still sum to one. The first that fits counts.
    """

    id: RuleId
    disclosures: tuple[float, float]  # subjects that the advert admits: from, up to below
    text_words: tuple[float, float]
    power: Annotated[float, Field(gt=0)]
    source: Source

    def fits(self, disclosures: float, text_words: float) -> bool:
        """Whether an advert is of this kind."""
        spans = ((self.disclosures, disclosures), (self.text_words, text_words))
        return all(low <= value < high for (low, high), value in spans)


class Unproven(RuleModel):
    """Where one of `subjects` is there, P(a denial or work done | state) is raised to `power`, and trust is so much."""

    subjects: tuple[RuleId, ...]
    power: Annotated[float, Field(gt=0, le=1)]
    source: Source


class Assumed(RuleModel):
    """Taken where an advert gives no year (`age`, years) and no mileage (`miles_a_year`).

    `service_seen`: chance that a viewing settles whether a service was done.
    """

    age: Annotated[float, Field(gt=0)]
    miles_a_year: Annotated[float, Field(gt=0)]
    service_seen: Annotated[float, Field(ge=0, le=1)]
    source: Source


class Admission(RuleModel):
    """When an item is the advert's own admission: `share` of what is said is about it, `belief` is left in it.

    `dated`: a service whose last time the advert tells is admitted too, once it is due again as surely as that.
    """

    share: Annotated[float, Field(gt=0, le=1)]
    belief: Annotated[float, Field(gt=0, le=1)]
    dated: Annotated[float, Field(gt=0, le=1)]
    source: Source


class Learning(RuleModel):
    """How far outcomes move the rules: the prior of a rate is worth `strength` parts that failed.

    `seen`: how what is sound, minor or major is put down by who looks at it: true state -> chance of each word.
    """

    strength: Annotated[float, Field(gt=0)]
    seen: Mapping[str, tuple[float, float, float]]
    source: Source

    @model_validator(mode="after")
    def _sums_to_one(self) -> Learning:
        if set(self.seen) != {"sound", "minor", "major"} or any(
            abs(sum(row) - 1) > 1e-9 or min(row) <= 0 for row in self.seen.values()
        ):
            raise ValueError("seen: give a row for sound, minor and major, each of three chances that sum to one")
        return self


class RootReport(RuleModel):
    """A subject that bears on a root, by a report table whose rows are the root's states."""

    subject: RuleId
    table: RuleId


class Persists(RuleModel):
    """What an admission says where the advert also tells of work done on that subject: still there after new parts."""

    share: Annotated[float, Field(gt=0, le=1)]
    table: RuleId | None = None  # another table than the link's own


class Speaks(RuleModel):
    """A subject that speaks of a fault or service. `share`: how much of what is said there is about this one.

    `words`: pieces of a quote (lower case) that tell the part, with the share that then holds: blue smoke is not
    white smoke, a crossmember is not an outrigger. Of several that occur, the longest counts.
    """

    subject: RuleId
    share: Annotated[float, Field(gt=0, le=1)] = 1.0
    table: RuleId
    persists: Persists | None = None
    renews: bool = False  # a claim `done` renews the part from its year or mileage
    words: Mapping[str, Annotated[float, Field(gt=0, le=1)]] = Field(default_factory=dict)

    def share_of(self, quote: str) -> float:
        """The share for a claim with this quote."""
        quote = quote.lower()
        found = [word for word in self.words if word in quote]
        return self.words[max(found, key=len)] if found else self.share
