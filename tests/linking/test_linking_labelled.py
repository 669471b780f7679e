"""Measured on the labelled set: links are right in 99 of 100, nine of ten pairs are found, few pairs are compared."""

from collections import defaultdict
from datetime import date
from itertools import combinations

import pytest
from labelled import REWRITTEN, labelled

from pipeline.linking import Linkable, group, link
from pipeline.linking import linking as inside
from pipeline.nlp.facts import read_facts
from pipeline.paths import data_folder
from pipeline.schemas.linking import load_link_rules

RULES = load_link_rules(data_folder("rules"))
Pair = tuple[str, str]


def measured(seed: int) -> tuple[set[Pair], set[Pair], set[Pair], int]:
    """Pairs that are of one vehicle, pairs linked, pairs grouped by those links, and how many adverts there are."""
    rows = labelled(seed)
    adverts = []
    for row in rows:
        facts, _ = read_facts(row.text, date(2026, 10, 1), ())
        adverts.append(Linkable(row.advert_id, row.text, {fact.key: fact.value for fact in facts}))
    of = defaultdict(list)
    for row in rows:
        of[row.vehicle].append(row.advert_id)
    links = link(adverts, RULES)
    groups = group([row.advert_id for row in rows], links)
    return _pairs(of.values()), {_pair(e.a, e.b) for e in links}, _pairs(groups), len(rows)


def _pair(a: str, b: str) -> Pair:
    return (min(a, b), max(a, b))


def _pairs(groups: object) -> set[Pair]:
    return {_pair(a, b) for members in groups for a, b in combinations(members, 2)}  # type: ignore[attr-defined]


def test_precision_and_recall_on_sets_that_the_rules_were_not_set_on() -> None:
    true = linked = right = found = grouped = grouped_right = 0
    for seed in (21, 22, 23, 24):
        pairs, links, groups, adverts = measured(seed)
        assert len(pairs) >= 150 and adverts > 2 * len(REWRITTEN) + 250
        true, linked, right = true + len(pairs), linked + len(links), right + len(links & pairs)
        found, grouped = found + len(pairs & groups), grouped + len(groups)
        grouped_right += len(groups & pairs)
    print(f"precision {right / linked:.4f} ({right}/{linked}), grouped {grouped_right / grouped:.4f}, "
          f"recall {found / true:.4f} ({found}/{true})")  # fmt: skip
    assert right / linked >= 0.99
    assert grouped_right / grouped >= 0.99
    assert found / true >= 0.90


def test_not_every_pair_is_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    compared = 0
    real = inside.fuzz.token_set_ratio

    class Counted:
        @staticmethod
        def token_set_ratio(a: str, b: str) -> float:
            nonlocal compared
            compared += 1
            return float(real(a, b))

    monkeypatch.setattr(inside, "fuzz", Counted)
    _, _, _, adverts = measured(1)
    assert 0 < compared < 0.03 * adverts * (adverts - 1) / 2
