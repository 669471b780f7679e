"""Every rule's own examples: sentences that it must read, and sentences in which it must make no claim."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.nlp.reader import Reader
from pipeline.schemas.language import CueRule, SubjectRule, load_language
from pipeline.types import STATUSES

RULES = Path(__file__).parents[2] / "rules"
LANGUAGE = load_language(RULES)
READER = Reader(LANGUAGE)
SAVED = date(2026, 10, 14)
EVERY: list[SubjectRule | CueRule] = [*(rule for rules in LANGUAGE.subjects.values() for rule in rules), *LANGUAGE.cues]
MATCHES = [(rule.id, sentence, said) for rule in EVERY for sentence, said in rule.matches.items()]
MISSES = [(rule.id, sentence) for rule in EVERY for sentence in rule.misses]
MASKS = {rule.id: code for code, rules in LANGUAGE.subjects.items() for rule in rules if rule.kind == "mask"}


@pytest.mark.parametrize(("rule", "sentence", "said"), MATCHES, ids=[f"{rule}: {text}" for rule, text, _ in MATCHES])
def test_matches(rule: str, sentence: str, said: str) -> None:
    claims = READER.read_claims(sentence, SAVED)
    assert tuple(said.split()) in {(claim.subject, claim.status) for claim in claims}, claims


@pytest.mark.parametrize(("rule", "sentence"), MISSES, ids=[f"{rule}: {text}" for rule, text in MISSES])
def test_misses(rule: str, sentence: str) -> None:
    """A mask keeps its whole subject out, any other rule only itself."""
    claims = READER.read_claims(sentence, SAVED)
    assert [claim for claim in claims if rule in claim.rule.split("+") or claim.subject == MASKS.get(rule)] == []


def test_examples_name_known_subjects_and_statuses() -> None:
    for rule, _, said in MATCHES:
        subject, status = said.split()
        assert subject in LANGUAGE.subjects, rule
        assert status in STATUSES, rule


def test_rules_of_weight_have_examples() -> None:
    """A rule of ten patterns or more that makes claims says what it reads or leaves."""
    weighty = [rule for rule in EVERY if len(rule.patterns) >= 10 and rule.id not in MASKS]
    assert [rule.id for rule in weighty if not rule.matches and not rule.misses] == []
