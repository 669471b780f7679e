"""Marks in place: whatever the spans, the advert's text comes through to the letter."""

from dataclasses import replace

import report_views
from hypothesis import given, settings
from hypothesis import strategies as st
from selectolax.lexbor import LexborHTMLParser

from pipeline.report import page
from pipeline.report.marks import Span, locate, pieces
from pipeline.types import Claim, Fact, Reading

TEXTS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\x00"), min_size=1, max_size=200)
HTMLISH = st.text(st.sampled_from("<>&\"'/=ab \r\n\t;#x1\u00a0\u202e£"), min_size=1, max_size=80)


@st.composite
def texts_with_spans(draw: st.DrawFn) -> tuple[str, list[Span]]:
    text = draw(TEXTS | HTMLISH)
    ends = st.tuples(st.integers(0, len(text)), st.integers(0, len(text))).filter(lambda pair: pair[0] != pair[1])
    found = draw(st.lists(st.tuples(ends, st.sampled_from(("fact", "due", "absent"))), max_size=12))
    return text, [Span(min(e), max(e), kind, f"{kind} {n}") for n, (e, kind) in enumerate(found)]


@given(texts_with_spans())
def test_pieces_join_to_the_text_and_name_their_spans(case: tuple[str, list[Span]]) -> None:
    text, found = case
    cut = pieces(text, found)
    assert "".join(piece.text for piece in cut) == text
    at = 0
    for piece in cut:
        over = [s.note for s in found if s.start < at + len(piece.text) and s.end > at]
        assert sorted(piece.note.split("\n")) == sorted(over or [""])
        at += len(piece.text)


@settings(max_examples=60, deadline=None)
@given(texts_with_spans())
def test_marked_advert_reads_as_the_advert(case: tuple[str, list[Span]]) -> None:
    text, found = case
    claims = tuple(
        Claim("sills", "due", "plain", text[s.start : s.end], s.start, s.end, "r") for s in found if s.kind != "fact"
    )
    facts = tuple(Fact("year", 1, text[s.start : s.end], s.start, s.end, "r") for s in found if s.kind == "fact")
    base = report_views.hand_written()[0]
    advert = replace(base.texts[0], text=text, reading=Reading(facts, claims))
    tree = LexborHTMLParser(page(report_views.view((replace(base, texts=(advert,)),))))
    shown = tree.css_first(".advert")
    assert shown.text() == text
    assert bool(shown.css("mark")) == bool(found)


def test_overlapping_and_nested_spans_are_all_named() -> None:
    cut = pieces("abcdef", [Span(0, 4, "due", "one"), Span(2, 6, "fact", "two"), Span(2, 4, "absent", "three")])
    assert [(p.text, p.note, p.kind, p.several) for p in cut] == [
        ("ab", "one", "due", False),
        ("cd", "one\ntwo\nthree", "due", True),
        ("ef", "two", "fact", False),
    ]


def test_a_span_that_does_not_fit_its_quote_is_found_or_told() -> None:
    assert locate("the belt is due", 4, 8, "belt") == (4, 8)
    assert locate("the belt is due", 0, 4, "belt") == (4, 8)
    assert locate("belt and belt", 1, 5, "belt") is None  # two places: neither is certain
    assert locate("the belt", 4, 90, "chain") is None
    assert locate("the belt", -1, -1, "belt") is None  # from metadata, not from the text


def test_a_mark_names_subject_status_grade_and_rule(report_tree: LexborHTMLParser) -> None:
    titles = [node.attributes["title"] or "" for node in report_tree.css("article.vehicle")[0].css("mark")]
    clutch = next(title for title in titles if title.startswith("clutch"))
    assert clutch == "clutch and flywheel: needs doing; grade slight; rule subjects.clutch.due"
    assert any("\n" in title for title in titles)  # the water pump stands inside the belt's quote
    assert all(node.attributes.get("tabindex") == "0" for node in report_tree.css(".advert mark"))
