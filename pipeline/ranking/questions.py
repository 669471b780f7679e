"""Questions for the call, by what their answers are expected to be worth before the decision to go."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.ranking.information import signal_worth
from pipeline.ranking.surplus import Surplus
from pipeline.schemas.decision import DecisionRules, QuestionRule
from pipeline.types import Buyer, Prospect, Question

Array = NDArray[np.float64]

PROVEN_SAYS_BAD = 0.85  # where a paper settles it, silence about the paper is an answer too
MOST = 12


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


def worth_asking(
    prospect: Prospect, surplus: Surplus, outside: float, cost: float, rules: DecisionRules
) -> tuple[Question, ...]:
    """Questions in falling order of the expected value of sample information, buyer's currency.

    Going pays E[(seen surplus - outside)+] less the visit's cost, staying 0; an answer moves the weights of the
    samples by how often a seller gives it when the item is bad and when it is not.
    """
    gain = np.maximum(surplus.seen - outside, 0.0) - cost
    columns = {item.item: n for n, item in enumerate(prospect.repair.items)}
    found = []
    for rule in rules.questions.questions:
        items = [item for item in prospect.repair.items if item.subjects and item.subjects[0] in rule.subjects]
        columns_here = [columns[item.item] for item in items if item.minor + item.major > 0.01]
        if not columns_here:
            continue
        spent = surplus.costs[:, columns_here].sum(axis=1)
        # Paying the expected sum is what the decision reckons with already; the answer tells of the difference.
        told = gain - (spent - spent.mean()) * (surplus.seen > outside) * _unseen(prospect, columns_here)
        worth = signal_worth(told, _answers(spent > 0, rule, rules))
        found.append(Question(rule.text, rule.subjects, worth, rule.id))
    return tuple(sorted(found, key=lambda q: -q.worth)[:MOST])


def _answers(bad: NDArray[np.bool_], rule: QuestionRule, rules: DecisionRules) -> Array:
    owns_up = PROVEN_SAYS_BAD if rule.proof else rules.questions.says_bad
    says_bad = np.where(bad, owns_up, rules.questions.cries_wolf)
    return np.column_stack([says_bad, 1 - says_bad])


def _unseen(prospect: Prospect, columns: list[int]) -> float:
    """Share of these items' state that a viewing would leave open, weighted by what they cost."""
    items = [prospect.repair.items[n] for n in columns]
    total = sum(item.expected_cost for item in items)
    if total <= 0:
        return 0.0
    return sum(item.expected_cost * (1 - item.seen_on_viewing) for item in items) / total
