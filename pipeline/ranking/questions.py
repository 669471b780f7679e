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

MOST = 12
CELLS = 16  # equally likely ranges of what a whole call tells, over which the decision is taken anew


@dataclass(frozen=True, slots=True)
class Call:
    """What ringing first is worth, and the questions in falling order of their worth.

    `worth`: expected value of the whole call's information; `saved`: journeys that would end in walking away and that a
    call is expected to spare, at the visit's cost.
    """

    worth: float
    saved: float
    questions: tuple[Question, ...]


def must_questions(prospect: Prospect, buyer: Buyer, rules: DecisionRules) -> tuple[Question, ...]:
    """What the buyer must have and the advert does not tell."""
    words = rules.questions
    return tuple(
        Question(
            words.must.format(what=words.must_words.get(key, key.replace("_", " "))), (), float("inf"), f"must.{key}"
        )
        for key in buyer.must
        if prospect.evidence.facts.get(key) is None
    )


def plan_call(prospect: Prospect, surplus: Surplus, outside: float, cost: float, rules: DecisionRules) -> Call:
    """Expected value of sample information of each question alone and of the call as a whole, buyer's currency.

    Going pays E[(surplus seen - outside)+] less the visit's cost, staying pays 0. A seller's answer is bad with one
    chance when the item needs work and with another when it does not; answers are drawn with common random numbers.
    """
    gain = np.maximum(surplus.seen - outside, 0.0) - cost
    told = np.zeros(len(gain))
    found: list[Question] = []
    for rule in rules.questions.questions:
        items = [n for n, item in enumerate(prospect.repair.items) if _asks(rule, item)]
        if not items:
            continue
        spent = surplus.costs[:, items].sum(axis=1)
        says_bad = _says_bad(spent > 0, rule, rules)
        # What a viewing would not show of these items is known after the call: it moves what going pays.
        known = gain - (spent - spent.mean()) * (surplus.seen > outside) * _unseen(prospect, items)
        worth = signal_worth(known, np.column_stack([says_bad, 1 - says_bad]))
        found.append(Question(rule.text, rule.subjects, worth, rule.id))
        bad = column(f"answer {rule.id}", len(gain), SEED) < says_bad
        if 0 < bad.sum() < len(bad):
            told += np.where(bad, spent[bad].mean(), spent[~bad].mean())
    saved = float((surplus.seen < outside).mean()) * cost * rules.decision.call.spares
    return Call(_worth_of_call(gain, told), saved, tuple(sorted(found, key=lambda q: (-q.worth, q.rule))[:MOST]))


def _worth_of_call(gain: Array, told: Array) -> float:
    """Samples are sorted by the repair cost that the answers point to and the decision is taken anew in each cell."""
    if np.ptp(told) == 0:
        return 0.0
    cells = np.array_split(np.argsort(told, kind="stable"), CELLS)
    after = sum(max(float(gain[cell].mean()), 0.0) * len(cell) for cell in cells) / len(gain)
    return after - max(float(gain.mean()), 0.0)


def _asks(rule: QuestionRule, item: ItemBelief) -> bool:
    return bool(item.subjects) and item.subjects[0] in rule.subjects and item.minor + item.major > 0.01


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
