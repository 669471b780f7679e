"""Questions for the call, by what their answers are expected to be worth before the decision to go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipeline.itembeliefs import ItemBeliefs
from pipeline.ranking.information import signal_worth
from pipeline.ranking.surplus import SEED, Surplus
from pipeline.schemas.decision import DecisionRules, QuestionRule
from pipeline.types import Buyer, Prospect, Question
from pipeline.uniforms import column

Array = NDArray[np.float64]

MOST = 10
LEAST = 3  # asked in any case, dearest doubt first: one rings to fix the appointment anyway
ROUNDING = 1e-6  # of the buyer's currency
CELLS = 8  # equally likely ranges of what the answers so far tell, over which the decision is taken anew


@dataclass(frozen=True, slots=True)
class Call:
    """`worth`: expected value of the whole call's information; `questions`: in the order to ask them."""

    worth: float
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    rule: QuestionRule
    bad: NDArray[np.bool_]  # (samples,), whether the answer is bad
    means: tuple[float, float]  # expected cost of its items given a good answer, a bad one
    alone: float
    doubt: float


@dataclass(frozen=True, slots=True)
class _Told:
    """What answers tell of the cost in each sample: one of few amounts. `level`: (samples,), `amounts`: (levels,)."""

    level: NDArray[np.uint16]
    amounts: Array

    def and_by(self, candidate: _Candidate) -> _Told:
        """With one answer more."""
        level, amounts = self.level * np.uint16(2) + candidate.bad, self.amounts[:, None] + np.array(candidate.means)
        return _Told(level.astype(np.uint16), amounts.ravel())

    def ranks(self) -> NDArray[np.uint16]:
        """(samples,), the place of each sample's amount among the levels' amounts."""
        _, place = np.unique(self.amounts, return_inverse=True)
        return np.asarray(place.astype(np.uint16).take(self.level))


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
    left = _candidates(prospect, surplus, gain, outside, rules)
    told, worth = _Told(np.zeros(len(gain), np.uint16), np.zeros(1)), 0.0
    chosen: list[Question] = []
    while left and len(chosen) < MOST:
        scored = zip(_worths(gain, told, left), left, strict=True)
        best, candidate = max(scored, key=lambda pair: (pair[0], pair[1].doubt, pair[1].rule.id))
        more = max(best - worth, candidate.alone if not chosen else 0.0)
        if more < a_question:
            break
        chosen.append(Question(candidate.rule.text, candidate.rule.subjects, more, candidate.rule.id))
        told, worth = told.and_by(candidate), max(best, worth)
        left.remove(candidate)
    left.sort(key=lambda c: (-c.doubt, c.rule.id))
    for candidate in left[: max(LEAST - len(chosen), 0)]:
        chosen.append(Question(candidate.rule.text, candidate.rule.subjects, candidate.alone, candidate.rule.id))
    return Call(worth, tuple(chosen))


def _candidates(
    prospect: Prospect, surplus: Surplus, gain: Array, outside: float, rules: DecisionRules
) -> list[_Candidate]:
    """All questions that can be asked, worked out together."""
    columns = _columns(prospect)
    asked = [
        (rule, items)
        for rule in rules.questions.questions
        if (items := sorted({n for subject in rule.subjects for n in columns.get(subject, ())}))
    ]
    if not asked:
        return []
    costs, samples = surplus.costs, len(gain)
    edges = costs.edges.tolist()
    parts = [(n, slice(edges[item], edges[item + 1])) for n, (_, items) in enumerate(asked) for item in items]
    places = np.concatenate([costs.rows[part] + n * samples for n, part in parts])
    amounts = np.concatenate([costs.amounts[part] for _, part in parts])
    spent = np.bincount(places, amounts, len(asked) * samples).reshape(len(asked), samples)
    there = spent > 0
    wolf = rules.questions.cries_wolf
    owns = np.array([_owns_up(rule, rules) for rule, _ in asked])
    drawn = _answers(tuple(rule.id for rule, _ in asked), samples)
    bad = np.where(there, drawn < owns[:, None], drawn < wolf)
    times = bad.sum(axis=1)
    sums = spent.sum(axis=1)
    sums_bad = np.where(bad, spent, 0.0).sum(axis=1)
    means_bad, means_not = sums_bad / np.maximum(times, 1), (sums - sums_bad) / np.maximum(samples - times, 1)
    # What a viewing would not show of these items is known after the call: it moves what going pays to
    # gain - (spent - mean) x unseen where one would buy. Here is its sum, over all samples and where work is needed.
    buy = surplus.seen > outside
    unseen = np.array([_unseen(prospect, items) for _, items in asked])
    on_buy, mean = spent @ buy.astype(np.float64), sums / samples
    with_need = there.astype(np.float64) @ np.column_stack([gain, buy])
    known = gain.sum() - unseen * (on_buy - mean * buy.sum())
    known_need = with_need[:, 0] - unseen * (on_buy - mean * with_need[:, 1])
    says_bad = (wolf * known + (owns - wolf) * known_need) / samples
    alone = signal_worth(np.column_stack([says_bad, known / samples - says_bad]))
    share = times / samples
    doubt = np.abs(means_bad - means_not) * np.sqrt(share * (1 - share))
    return [
        _Candidate(
            rule,
            bad[n],
            (float(means_not[n]), float(means_bad[n])),
            float(alone[n]) if alone[n] > ROUNDING else 0.0,
            float(doubt[n]),
        )
        for n, (rule, _) in enumerate(asked)
        if 0 < times[n] < samples
    ]


def _worths(gain: Array, told: _Told, candidates: Sequence[_Candidate]) -> list[float]:
    """Worth of deciding by what is told and one candidate's answer more, of each.

    In each range of what is told the decision is taken on one half of the samples and valued on the other, so that
    chance differences between ranges do not pass for information.
    """
    ranks = np.stack([told.and_by(c).ranks() for c in candidates])
    order = np.argsort(ranks, axis=1, kind="stable")
    halves, starts = _halves(len(gain))
    sums = np.add.reduceat(gain.take(order[:, halves]), starts, axis=1)
    go = sums > 0
    after = (np.where(go[:, 0::2], sums[:, 1::2], 0.0) + np.where(go[:, 1::2], sums[:, 0::2], 0.0)).sum(axis=1)
    worth = after / len(gain) - max(float(gain.mean()), 0.0)
    # Where no answer changes the decision, what rounding leaves must not choose the question.
    worth = np.where((ranks.max(axis=1) > ranks.min(axis=1)) & (worth > ROUNDING), worth, 0.0)
    return [float(one) for one in worth]


@lru_cache(maxsize=4)
def _halves(samples: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Places of samples in order, range after range, every other one first, and where each of these halves starts."""
    halves = [cell[n::2] for cell in np.array_split(np.arange(samples), CELLS) for n in (0, 1)]
    return np.concatenate(halves), np.cumsum([0, *(len(half) for half in halves[:-1])])


@lru_cache(maxsize=64)
def _answers(questions: tuple[str, ...], samples: int) -> Array:
    """The draws of the answers, (questions, samples)."""
    return np.stack([column(f"answer {key}", samples, SEED) for key in questions])


def _columns(prospect: Prospect) -> dict[str, list[int]]:
    """Subject -> the items that a question of it is about: their state is open, the advert has not spoken of them."""
    findings = prospect.evidence.findings
    said: dict[str, bool] = {}  # subject -> only as possible
    for claim in prospect.evidence.claims:
        said[claim.subject] = said.get(claim.subject, False) or claim.status == "possible"
    found: dict[str, list[int]] = {}
    items = ItemBeliefs.of(prospect.repair.items)
    for n, (key, subjects, bad) in enumerate(
        zip(items.parts.ids, items.parts.subjects, items.bad.tolist(), strict=True)
    ):
        if subjects and bad > 0.01 and key not in findings and said.get(subjects[0], True):
            found.setdefault(subjects[0], []).append(n)
    return found


def _owns_up(rule: QuestionRule, rules: DecisionRules) -> float:
    return rules.questions.proof_says_bad if rule.proof else rules.questions.says_bad


def _unseen(prospect: Prospect, columns: Sequence[int]) -> float:
    """Share of these items' state that a viewing would leave open, weighted by what they cost."""
    items = ItemBeliefs.of(prospect.repair.items)
    cost, seen = items.expected[list(columns)], np.array(items.parts.seen_on_viewing)[list(columns)]
    total = float(cost.sum())
    return float(cost @ (1 - seen)) / total if total > 0 else 0.0
