"""The terminal table: aligned at every width, and deaf to what an advert would say to a terminal."""

import re
import unicodedata
from dataclasses import replace
from importlib import import_module

import pytest
import report_views
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from pipeline.report import table
from pipeline.report.table import plain
from pipeline.types import ReportView


def rows(text: str) -> list[str]:
    """The lines of the ranking itself."""
    lines = text.splitlines()
    return [line for line in lines if re.match(r" *\d+  ", line)]


@pytest.mark.parametrize("width", [40, 50, 64, 80, 100, 130, 200])
def test_lines_fit_and_columns_align(report_view: ReportView, width: int) -> None:
    text = table(report_view, width)
    assert all(cell_len(line) <= width for line in text.splitlines())
    found = rows(text)
    assert len(found) == 8
    head = text.splitlines()[0]
    end = head.index("visit worth") + len("visit worth")
    for line in found[:7]:
        assert re.match(r"(?: {2,}|.*  )−?£[\d,]+$", line[:end]), line  # right-aligned under its heading
        assert line[head.index("verdict") :].startswith(("travel", "ring first", "leave"))
    assert "…" not in "".join(line[head.index("verdict") :] for line in found)  # no figure is cut short


def test_width_decides_the_columns(report_view: ReportView) -> None:
    assert "distance" not in table(report_view, 50)
    wide = table(report_view, 160)
    for name in ("visit worth", "price", "surplus", "10 to 90 %", "repair", "unsaid", "value", "distance"):
        assert name in wide.splitlines()[0]


def test_a_row_ends_with_the_number_that_the_other_commands_take(report_view: ReportView) -> None:
    view = replace(report_view, vehicles=report_view.vehicles[::-1])  # the place in the ranking is another number
    text = table(view, 160)
    assert text.splitlines()[0].endswith("number")
    assert [line.split()[-1] for line in rows(text)] == [vehicle.ref for vehicle in view.vehicles]
    assert "number" not in table(view, 40)


def test_wide_characters_do_not_shift_the_columns() -> None:
    first, second, *_ = report_views.hand_written()
    view = report_views.view((replace(first, title="軽キャンピングカー 走行少"), second))
    found = rows(table(view, 100))
    assert len({cell_len(line[: line.index("travel")]) for line in found}) == 1


def test_reasons_refusals_and_changes_are_told(report_view: ReportView) -> None:
    text = table(report_view, 120)
    assert "8: not valued: The advert states no price" in text
    assert "Not read: table.csv:7: The column text is empty" in text
    assert "Changed: Pennock Corrie" in text
    assert "6: probably gone" in text


def test_nothing_to_rank() -> None:
    assert "No vehicle to rank yet" in table(report_views.view(()), 80)


@pytest.mark.parametrize(
    ("hostile", "shown"),
    [
        ("\x1b[31mred\x1b[0m", "red"),
        ("\x1b]0;new title\x07van", "van"),
        ("\x1b]8;;https://example.org\x1b\\van\x1b]8;;\x1b\\", "van"),
        ("\x9b2Jvan", "van"),
        ("one\r\ntwo\ttwo", "one two two"),
        ("a\u202eb\u2066c\u200bd", "a b c d"),
        ("\x1bPq#0;2;0;0;0\x1b\\van", "van"),
        ("van\x1b", "van"),
        ("[bold]van[/bold]", "[bold]van[/bold]"),
        ("van :warning:", "van :warning:"),
    ],
)
def test_escape_sequences_are_stripped(hostile: str, shown: str) -> None:
    first = report_views.hand_written()[0]
    assert plain(hostile) == shown
    assert shown in table(report_views.view((replace(first, title=hostile),)), 120)


@given(st.text(st.characters(), max_size=60) | st.text(st.sampled_from("\x1b[]0;mJ\x07\\\x9bPab\u202e"), max_size=40))
def test_no_control_reaches_the_terminal(title: str) -> None:
    first = report_views.hand_written()[0]
    view = replace(report_views.view((replace(first, title=title),)), changes=(title,))
    text = table(view, 90)
    assert not {c for c in text if unicodedata.category(c) in {"Cc", "Cf", "Cs", "Zl", "Zp"}} - {"\n"}


def test_a_terminal_is_not_flooded(report_view: ReportView, monkeypatch: pytest.MonkeyPatch) -> None:
    module = import_module("pipeline.report.table")  # the package's name for it is the function
    monkeypatch.setattr(module, "MOST_ROWS", 2)
    monkeypatch.setattr(module, "MOST_CHANGES", 1)
    many = replace(report_view, changes=("one thing", "another thing", "a third thing"))
    assert len(many.vehicles) > 2
    text = table(many, 110)
    assert f"The best 2 of {len(many.vehicles)}; the page has them all." in text
    assert many.vehicles[1].title[:20] in text and many.vehicles[2].title[:20] not in text
    assert "one thing" in text and "another thing" not in text and "Changed: 2 more, on the page" in text
