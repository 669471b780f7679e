"""The adviser's pages: a member's own, and the summary of all."""

from dataclasses import replace

import pytest
import report_views
from selectolax.lexbor import LexborHTMLParser
from test_report_page import ATTACKS, shape

from pipeline.report import member_page, summary_page
from pipeline.report.members import summary_context
from pipeline.types import AdviserView, MemberView


def summary() -> AdviserView:
    return AdviserView(report_views.AS_OF, "the pool", 8, report_views.members())


def test_a_members_page_tells_which_and_why() -> None:
    html = member_page(report_views.members()[0])
    tree = LexborHTMLParser(html)
    best = [li.text() for li in tree.css(".best > li")]
    assert len(best) == 2 and best[0].strip().startswith("Pennock Corrie 2.2 diesel, 1997")
    assert "Surplus is likely" in best[0] and "Ask: When was the timing belt" in best[0]
    assert "Four berths, please." in html and "Ring gently." not in html
    assert "jack alone" in html


def test_distances_are_in_the_members_own_units() -> None:
    assert "64 km" in member_page(report_views.members()[1])


def test_a_member_without_any_is_told_what_would_change_it() -> None:
    text = member_page(report_views.members()[2])
    assert "None of these adverts is worth a visit" in text and "A budget of about £4,000" in text


def test_the_summary_names_rivals_and_those_without() -> None:
    made = summary_context(summary())
    (rival,) = made.rivals
    assert [name for name, _ in rival.members] == ["Maud Ellery", "Otto Brandreth"]
    assert all("first choice" in told for _, told in rival.members)
    assert [one.name for one in made.without] == ["Penny Harrowgate"]
    assert made.members[0].best[0].others == ("Otto Brandreth",) and made.members[0].best[1].others == ()
    html = summary_page(summary())
    links = [a.attributes["href"] for a in LexborHTMLParser(html).css("h3 a")]
    assert links == ["members/penny.html", "members/maud.html", "members/otto.html", "members/penny.html"]


@pytest.mark.parametrize("attack", ATTACKS[::9])
def test_attacks_are_inert(attack: str) -> None:
    def hostile(words: str) -> MemberView:
        one = report_views.members()[0]
        vehicle = replace(one.view.vehicles[0], title=words, ref=words)
        member = replace(one.member, name=words, note=words, adviser_note=words)
        return MemberView(member, replace(one.view, vehicles=(vehicle,)), (words,))

    for make in (member_page, lambda one: summary_page(replace(summary(), members=(one,), pool=one.member.name))):
        assert shape(make(hostile(attack))) == shape(make(hostile("harmless words")))
