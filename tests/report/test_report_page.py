"""The page's content, its policy, and that nothing an advert holds does anything."""

import base64
import hashlib
import re
from dataclasses import replace
from datetime import date

import pytest
import report_views
from selectolax.lexbor import LexborHTMLParser

from pipeline.report import page, pages, words
from pipeline.report.context import context
from pipeline.types import Finding, Flag, Note, PricePoint, Question, Reading, Reason, Refusal, ReportView

TAGS = ("script", "img", "svg", "iframe", "object", "math", "style", "link", "base", "form", "meta", "template")
ATTACKS = [
    *(f"<{tag} src=x onerror=alert({n})>" for n, tag in enumerate(TAGS)),
    *(f"</{tag}><{tag} onload=alert(1)>" for tag in TAGS),
    *(f'"><{tag} onfocus=alert(1) autofocus>' for tag in TAGS),
    *(f"'><{tag} style=background:url(https://example.org/x)>" for tag in TAGS),
    *(f"]]></{tag}>--><{tag}>" for tag in TAGS),
    *(f"&lt;{tag}&gt;alert(1)&lt;/{tag}&gt;" for tag in TAGS),
    *(f"<{tag}\x00 src=x>" for tag in TAGS),
    "</textarea><script>alert(1)</script>",
    "</title><script>alert(1)</script>",
    "<!--<script>alert(1)//-->",
    "--!><script>alert(1)</script>",
    "javascript:alert(1)",
    "{{ 7 * 7 }}{% for x in (1,) %}{{ x }}{% endfor %}",
    "{{ ''.__class__.__mro__ }}",
    "{# gone #}",
    "${alert(1)}`",
    "\" onmouseover=\"alert(1)",
    "' onmouseover='alert(1)",
    "` onmouseover=`alert(1)",
    "&#60;script&#62;alert(1)&#60;/script&#62;",
    "\u202etxet desrever",
    "\x1b]0;title\x07\x1b[31m",
    "\ud800 a lone surrogate",
    "＜script＞alert(1)＜/script＞",
    "&",
]  # fmt: skip


def attacked(attack: str) -> ReportView:
    """A view in which every string that comes from an advert, a file name or a rule's quote is the attack."""
    base = report_views.hand_written()[0]
    text = f"start {attack} end {attack}"
    at = text.index(attack)
    reading = base.texts[0].reading
    claims = (replace(reading.claims[0], quote=attack, start=at, end=at + len(attack), detail=attack, rule=attack),)
    facts = (replace(reading.facts[0], key="vin", value=attack, quote="x", start=-1, end=-1),)
    flag = Flag(attack, attack, attack, True, attack, attack)
    reason = Reason(attack, attack, attack)
    ranked = replace(
        base.ranked, flags=(flag,), reasons=(reason,), questions=(Question(attack, (attack,), 50.0, attack),),
        changes=(attack,), surplus=None,
    )  # fmt: skip
    prospect = replace(
        base.prospect, place=attack, refused_price=attack,
        valuation=replace(base.prospect.valuation, reasons=(reason,)),
        repair=replace(base.prospect.repair, contradictions=(attack,), assumptions=(reason,)),
    )  # fmt: skip
    advert = replace(
        base.texts[0], text=text, source=attack, url=attack, linked_because=attack,
        reading=Reading(facts, claims, facts),
    )  # fmt: skip
    hostile = replace(
        base, ref=attack, title=attack, ranked=ranked, prospect=prospect, texts=(advert,),
        prices=(PricePoint(date(2026, 10, 1), 5.0, attack, attack),), silent_on=(attack,),
    )  # fmt: skip
    view = report_views.view((base, hostile))
    return replace(
        view, refusals=(Refusal(attack, attack),), changes=(attack,), assumptions=(reason,), cautions=(attack,)
    )


def shape(html: str) -> list[tuple[str, tuple[str, ...]]]:
    """Every element with the names of its attributes, in document order: what the parser made of the page."""
    found = []
    for node in LexborHTMLParser(html).css("*"):
        found.append((str(node.tag), tuple(sorted(node.attributes))))
    return found


def test_there_are_a_hundred_attacks() -> None:
    assert len(set(ATTACKS)) >= 100


@pytest.mark.parametrize("attack", ATTACKS)
def test_attack_is_inert(attack: str) -> None:
    html = page(attacked(attack))
    harmless = page(attacked("harmless words"))
    assert shape(html) == shape(harmless)  # same elements, same attributes: the attack made neither
    seen = re.sub("[\x00\ud800-\udfff]", "\ufffd", attack)
    assert seen in (LexborHTMLParser(html).css_first("article:last-of-type .advert mark").text() or "")
    html.encode("utf-8")


def test_policy_allows_own_script_and_style_only(report_page: str, report_tree: LexborHTMLParser) -> None:
    metas = report_tree.css('meta[http-equiv="Content-Security-Policy"]')
    assert len(metas) == 1
    rules = dict(part.strip().split(" ", 1) for part in (metas[0].attributes["content"] or "").split(";"))
    assert rules.pop("default-src") == "'none'"
    for name, tag in (("script-src", "script"), ("style-src", "style")):
        found = re.findall(rf"<{tag}>(.*?)</{tag}>", report_page, re.S)
        assert len(found) == 1
        digest = base64.b64encode(hashlib.sha256(found[0].encode()).digest()).decode()
        assert rules.pop(name) == f"'sha256-{digest}'"
    assert rules == {"base-uri": "'none'", "form-action": "'none'"}
    assert not report_tree.css("[style], [onclick], [src], link, iframe, img, form, base")


def test_links_stay_on_the_page(report_tree: LexborHTMLParser) -> None:
    ids = {node.attributes["id"] for node in report_tree.css("[id]")}
    links = [node.attributes["href"] or "" for node in report_tree.css("[href]")]
    assert len(links) > 20
    assert all(link.startswith("#") and link[1:] in ids for link in links)


def test_first_screen_answers(report_view: ReportView) -> None:
    made = context(report_view)
    assert [pick.title for pick in made.visits] == ["Pennock Corrie 2.2 diesel, 1997", "Corrie high top, 1999"]
    assert [pick.anchor for pick in made.calls] == ["v3", "v4"]
    assert all(pick.why for pick in (*made.visits, *made.calls))
    assert made.calls[0].ask.startswith("When was the timing belt")
    assert made.changes == report_view.changes
    # the one that is gone is in neither list
    assert made.answer == "Of 8 vehicles 2 worth a visit, 2 to ring first, 3 to leave, 1 probably gone."
    assert made.visits[0].look == "sills and jacking points; timing belt overdue; head gasket"
    assert "walk away above £4,410" in made.visits[0].pay


def test_what_has_no_value_shows_the_reason_and_no_number(report_tree: LexborHTMLParser) -> None:
    last = report_tree.css("article.vehicle")[-1]
    assert "Not valued: The advert states no price: offers are invited" in last.text()
    row = report_tree.css(".ranking tbody tr")[-1]
    cells = {cell.attributes["data-label"]: cell for cell in row.css("td")}
    for name in ("Visit worth", "Surplus", "Sound value"):
        assert cells[name].text().strip() == "not valued"
        assert cells[name].attributes["data-k"] == ""
    assert cells["Price"].text().strip().startswith("none")
    assert cells["Distance"].text().strip() == "not known"


def test_flags_refusals_assumptions_and_cautions_are_told(report_tree: LexborHTMLParser) -> None:
    flagged = report_tree.css("article.vehicle")[6].css_first(".flags").text()
    assert "Money is asked for before a viewing." in flagged
    assert "send nothing" in flagged
    text = report_tree.body.text() if report_tree.body else ""
    for told in ("14-empty.pdf", "table.csv, line 7", "common practice", "jack alone", "no survey", "read, not used"):
        assert told in text


def test_bars_sum_to_the_items(report_view: ReportView) -> None:
    cost = context(report_view).sections[0].cost
    assert cost.bars[0].name == "sills and jacking points"
    assert cost.bars[0].share == 100
    assert [bar.share for bar in cost.bars] == sorted((bar.share for bar in cost.bars), reverse=True)
    assert {bar.name for bar in cost.bars if bar.admitted} == {"tyres"}


def test_small_items_are_summed_not_dropped() -> None:
    base = report_views.hand_written()[0]
    items = tuple(report_views.item(f"part {n}", "engine", 0.1, 0.0, 100.0) for n in range(40))
    repair = replace(base.prospect.repair, items=items)
    view = report_views.view((replace(base, prospect=replace(base.prospect, repair=repair)),))
    last = context(view).sections[0].cost.bars[-1]
    assert last.name == "34 smaller items"
    assert last.amount == "£3,400"


def test_parts_of_the_vehicle_carry_all_of_the_cost() -> None:
    base = report_views.hand_written()[0]
    groups = [f"group{n}" for n in range(12)]
    items = tuple(report_views.item(f"part {n}", g, 0.1, 0.0, 100.0, admitted=n == 1) for n, g in enumerate(groups))
    repair = replace(base.prospect.repair, items=items)
    view = report_views.view((replace(base, prospect=replace(base.prospect, repair=repair)),))
    bars = context(view).sections[0].cost.groups
    assert [bar.amount for bar in bars] == ["£100"] * 7 + ["£500"]
    assert bars[-1].name == "all else"
    assert [bar.admitted for bar in bars] == [0, 20, 0, 0, 0, 0, 0, 0]
    assert sum(bar.admitted + bar.unsaid for bar in bars) == 240  # per cent of the longest, five parts of twelve


def test_distances_in_kilometres_where_the_region_uses_them(report_view: ReportView) -> None:
    abroad = replace(report_view, buyer=replace(report_view.buyer, units="km"))
    html = page(abroad)
    assert "64 km" in html and "40 mi" not in html
    assert "40 mi" in page(report_view)


def test_codes_of_currencies_become_signs_before_numbers() -> None:
    assert words.sentence("asked GBP 1,550 below, by a GBP man") == "Asked £1,550 below, by a GBP man"


def test_a_large_search_goes_over_several_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.report.context.PER_PAGE", 3)
    made = pages(report_views.view())
    assert list(made) == ["ranking.html", "ranking-2.html", "ranking-3.html"]
    trees = {name: LexborHTMLParser(html) for name, html in made.items()}
    ranks = [[a.text() for a in tree.css("article.vehicle h3 .n")] for tree in trees.values()]
    assert ranks == [["1", "2", "3"], ["4", "5", "6"], ["7", "8"]]
    for name, tree in trees.items():
        links = {a.attributes["href"] for a in tree.css("a") if not (a.attributes["href"] or "").startswith("#")}
        assert links == set(made) - {name}
        assert bool(tree.css(".first")) == (name == "ranking.html")
    assert "Of 8 vehicles" in made["ranking.html"]


def test_what_was_learnt_stands_with_the_vehicle_and_what_was_taken_back_does_not() -> None:
    base = report_views.hand_written()[0]
    kept = Note(3, "advert-1", date(2026, 10, 20), "call", "he says <b>no rust</b>", (Finding("sills", "major", ()),))
    back = replace(kept, number=4, text="a slip of the pen", undone=True)
    view = report_views.view((replace(base, notes=(kept, back)),))
    text = LexborHTMLParser(page(view)).css_first("article").text()
    assert "Note 3, 20 October 2026, on the telephone" in text
    assert "“he says <b>no rust</b>”" in text and "found: sills and jacking points major" in text
    assert "slip of the pen" not in text


def test_an_empty_report_says_what_to_do() -> None:
    tree = LexborHTMLParser(page(report_views.view(())))
    text = tree.body.text() if tree.body else ""
    assert "Put saved adverts into the inbox" in text
    assert "None is worth the journey" in text
    assert "nothing to draw" in text


def test_five_hundred_vehicles_stay_under_eight_megabytes() -> None:
    size = len(page(report_views.many(500)).encode("utf-8"))
    assert 1_000_000 < size < 8_000_000
