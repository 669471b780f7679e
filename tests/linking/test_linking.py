"""Which adverts are of one vehicle."""

from dataclasses import replace

import pytest

from pipeline.linking import Link, Linkable, group, link
from pipeline.paths import data_folder
from pipeline.schemas.linking import load_link_rules

RULES = load_link_rules(data_folder("rules"))
TEXT = (
    "Marrick Dale van 1994, one careful owner since 2009, sills done by a good man in Alston two winters ago, belt at "
    "98,000, gas checked in spring, two small dents in the sliding door from the gatepost. {} ring after six."
)
FACTS = {"year": [1994], "mileage": 104000, "mileage_unit": "mi", "fuel": "diesel", "plate": None}
ONE = Linkable("one", TEXT.format("£4,200"), FACTS)


def test_near_equal_text_with_agreeing_facts_is_linked_and_says_why() -> None:
    other = Linkable("two", "Still for sale! " + TEXT.format("£3,950 now"), {**FACTS, "mileage": 104300})
    (found,) = link([ONE, other], RULES)
    assert (found.a, found.b) == ("one", "two")
    assert "near-equal" in found.reason and found.score > 0.7


@pytest.mark.parametrize(
    "change", [{"mileage": 61000}, {"year": [1999]}, {"fuel": "petrol"}, {"plate": "A1"}], ids=lambda c: next(iter(c))
)
def test_a_fact_that_differs_keeps_equal_texts_apart(change: dict[str, object]) -> None:
    one = replace(ONE, facts={**FACTS, "plate": "B2"})
    assert link([one, Linkable("two", ONE.text, {**FACTS, **change})], RULES) == []


def test_the_same_plate_links_texts_that_share_nothing() -> None:
    a = Linkable("a", "blue one", {"plate": "F228 OWY"})
    b = Linkable("b", "father's old bus", {"plate": "F228OWY"})
    assert link([a, b], RULES) == [Link("a", "b", "the same plate", 1.0)]


def test_boilerplate_links_nobody() -> None:
    sales = " cards accepted part exchange considered finance can be arranged call the sales team for a quick reply"
    adverts = [Linkable(str(n), f"van number {n * 7919}" + sales, {}) for n in range(RULES.common_shingle + 2)]
    assert link(adverts, RULES) == []


def test_groups_follow_chains_and_keep_the_order() -> None:
    links = [Link("c", "d", "", 1), Link("b", "d", "", 1), Link("x", "y", "", 1)]
    assert group(["a", "b", "c", "d"], links) == [("a",), ("b", "c", "d")]
