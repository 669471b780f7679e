"""Questions for the call, by what their answers are expected to be worth before the decision to go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.ranking.information import signal_worth
from pipeline.ranking.surplus import SEED, Surplus
from pipeline.schemas.decision import DecisionRules, QuestionRule
from pipeline.types import Buyer, ItemBelief, Prospect, Question
from pipeline.uniforms import column

Array = NDArray[np.float64]

MOST = 10
LEAST = 3  # asked in any case, dearest doubt first: one rings to fix the appointment anyway
CELLS = 8  # equally likely ranges of what the answers so far tell, over which the decision is taken anew


@dataclass(frozen=True, slots=True)
class Call:
    """`worth`: expected value of the whole call's information; `questions`: in the order to ask them."""

    worth: float
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class _Candidate:
    rule: QuestionRule
    told: Array  # expected cost of its items given the answer, (samples,)
    alone: float
    doubt: float


def must_questions(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> tuple[Question, ...]:
    """What the buyer must have and the advert does not tell; worth nought where silence has its usual meaning."""
    words = rules.questions
    usual = {
        rule.fact
        for rule in words.silence
        if buyer.region not in rule.not_regions and set(rule.means) <= set(buyer.must.get(rule.fact, ()))
    }
    return tuple(
        Question(
            words.must_words.get(key, words.must.format(what=key.replace("_", " "))),
            (),
            0.0 if key in usual else float("inf"),
            f"must.{key}",
        )
        for key in buyer.must
        if prospect.evidence.facts.get(key) is None
    )


def plan_call(
    prospect: Prospect, surplus: Surplus, outside: float, cost: float, a_question: float, rules: DecisionRules
) -> Call:
    """A set of questions chosen greedily by expected value of sample information, buyer's currency.

    Going pays E[(surplus seen - outside)+] less the visit's cost, staying pays 0. A seller's answer is bad with one
    chance when the item needs work and with another when it does not; answers are drawn with common random numbers.
    What the advert has told already is not asked again. The set is closed when the next question is worth less than
    asking it (`a_question`); the dearest doubts are asked in any case.
    """
    gain = np.maximum(surplus.seen - outside, 0.0) - cost
    left = [c for rule in rules.questions.questions if (c := _candidate(rule, prospect, surplus, gain, outside, rules))]
    told, worth = np.zeros(len(gain)), 0.0
    chosen: list[Question] = []
    while left and len(chosen) < MOST:
        scored = [(_worth(gain, told + c.told), c) for c in left]
        best, candidate = max(scored, key=lambda pair: (pair[0], pair[1].doubt, pair[1].rule.id))
        more = max(best - worth, candidate.alone if not chosen else 0.0)
        if more < a_question:
            break
        chosen.append(Question(candidate.rule.text, candidate.rule.subjects, more, candidate.rule.id))
        told, worth = told + candidate.told, max(best, worth)
        left.remove(candidate)
    left.sort(key=lambda c: (-c.doubt, c.rule.id))
    for candidate in left[: max(LEAST - len(chosen), 0)]:
        chosen.append(Question(candidate.rule.text, candidate.rule.subjects, candidate.alone, candidate.rule.id))
    return Call(worth, tuple(chosen))


def _candidate(
    rule: QuestionRule, prospect: Prospect, surplus: Surplus, gain: Array, outside: float, rules: DecisionRules
) -> _Candidate | None:
    items = [n for n, item in enumerate(prospect.repair.items) if _asks(rule, item, prospect)]
    if not items:
        return None
    spent = surplus.costs[:, items].sum(axis=1)
    says_bad = _says_bad(spent > 0, rule, rules)
    bad = column(f"answer {rule.id}", len(gain), SEED) < says_bad
    if not 0 < bad.sum() < len(bad):
        return None
    told = np.where(bad, spent[bad].mean(), spent[~bad].mean())
    # What a viewing would not show of these items is known after the call: it moves what going pays.
    known = gain - (spent - spent.mean()) * (surplus.seen > outside) * _unseen(prospect, items)
    alone = signal_worth(known, np.column_stack([says_bad, 1 - says_bad]))
    return _Candidate(rule, told, max(alone, 0.0), float(told.std()))


def _worth(gain: Array, told: Array) -> float:
    """Worth of deciding by `told`: in each range of it the decision is taken on one half of the samples and valued on
    the other, so that chance differences between ranges do not pass for information."""
    if np.ptp(told) == 0:
        return 0.0
    order = np.argsort(told, kind="stable")
    after = 0.0
    for cell in np.array_split(gain[order], CELLS):
        one, other = cell[::2], cell[1::2]
        after += (float(other.sum()) if one.mean() > 0 else 0.0) + (float(one.sum()) if other.mean() > 0 else 0.0)
    return max(after / len(gain) - max(float(gain.mean()), 0.0), 0.0)


def _asks(rule: QuestionRule, item: ItemBelief, prospect: Prospect) -> bool:
    """The question is of this item, its state is open, and the advert has not already spoken of it."""
    if not item.subjects or item.subjects[0] not in rule.subjects or item.minor + item.major <= 0.01:
        return False
    if item.item in prospect.evidence.findings:
        return False
    said = [c.status for c in prospect.evidence.claims if c.subject == item.subjects[0]]
    return not said or "possible" in said


def _says_bad(bad: NDArray[np.bool_], rule: QuestionRule, rules: DecisionRules) -> Array:
    owns_up = rules.questions.proof_says_bad if rule.proof else rules.questions.says_bad
    return np.where(bad, owns_up, rules.questions.cries_wolf)


def _unseen(prospect: Prospect, columns: Sequence[int]) -> float:
    """Share of these items' state that a viewing would leave open, weighted by what they cost."""
    items = [prospect.repair.items[n] for n in columns]
    total = sum(item.expected_cost for item in items)
    if total <= 0:
        return 0.0
    return sum(item.expected_cost * (1 - item.seen_on_viewing) for item in items) / total
