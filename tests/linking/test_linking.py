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


def test_one_that_states_nothing_and_fits_two_that_differ_is_linked_to_neither() -> None:
    bare = TEXT.format("ask").replace("1994, ", "").replace("98,000", "the usual")
    low = Linkable("low", bare, {"mileage": 61000, "year": [1994]})
    high = Linkable("high", bare, {"mileage": 104000, "year": [1998]})
    silent = Linkable("silent", bare, {})
    assert link([low, high, silent], RULES) == []
    assert [(e.a, e.b) for e in link([low, silent], RULES)] == [("low", "silent")]


def test_the_same_number_in_another_unit_is_no_other_mileage() -> None:
    kilometres = Linkable("two", ONE.text, {**FACTS, "mileage_unit": "km"})
    assert len(link([ONE, kilometres], RULES)) == 1
    converted = Linkable("three", ONE.text, {**FACTS, "mileage": 167370, "mileage_unit": "km"})
    assert len(link([ONE, converted], RULES)) == 1


def test_what_the_buyer_keeps_apart_stays_apart_through_others_too() -> None:
    links = [Link("a", "b", "", 0.9), Link("b", "c", "", 0.8), Link("c", "d", "", 0.95)]
    assert group("abcd", links) == [("a", "b", "c", "d")]
    assert group("abcd", links, {("a", "b")}) == [("a",), ("b", "c", "d")]
    assert group("abcd", links, {("a", "d")}) == [("a", "b"), ("c", "d")], "the weakest link of the chain gives"
    assert group("abcd", links, {("a", "gone")}) == [("a", "b", "c", "d")]


def test_links_do_not_depend_on_the_order_of_the_adverts() -> None:
    texts = [TEXT.format(n) for n in ("£4,200", "£3,900", "£3,700")]
    adverts = [Linkable(str(n), text, FACTS) for n, text in enumerate(texts)]
    pairs = {frozenset((e.a, e.b)) for e in link(adverts, RULES)}
    assert {frozenset((e.a, e.b)) for e in link(adverts[::-1], RULES)} == pairs and len(pairs) == 3
