"""Text files and tables: what is kept, what is refused, and where."""

import hashlib
import io
from datetime import date
from pathlib import Path

import openpyxl
import pytest

from pipeline.ingest import gather, read_source
from pipeline.types import Refusal, SourceFile


def saved(name: str, data: bytes) -> SourceFile:
    return SourceFile(name, data, hashlib.sha256(data).hexdigest())


@pytest.mark.parametrize("data", ["£900 ono".encode(), "£900 ono".encode("cp1252"), "£900 ono".encode("utf-16")])
def test_text_in_usual_encodings(data: bytes) -> None:
    (advert,) = read_source(saved("a.txt", data)).adverts
    assert (advert.advert_id, advert.text) == ("a.txt", "£900 ono")


def test_empty_and_binary_are_refused() -> None:
    for name, data in (("a.txt", b" \n"), ("b.txt", b"\x00\x01\x02")):
        result = read_source(saved(name, data))
        assert not result.adverts and result.refusals[0].source == name


def test_jsonl_refuses_a_line_and_keeps_the_rest() -> None:
    data = b'{"id":"k1","text":"One","distance_km":16.09344,"saved_on":"2026-10-31"}\n{oops\n[1]\n{"text":"Two"}\n'
    result = read_source(saved("a.jsonl", data))
    assert [a.advert_id for a in result.adverts] == ["k1", "a.jsonl#4"]
    assert result.adverts[0].distance_miles == pytest.approx(10)
    assert result.adverts[0].saved_on == date(2026, 10, 31)
    assert [r.line for r in result.refusals] == [2, 3]


def test_csv_line_numbers_count_lines_inside_cells() -> None:
    data = b'text,price,url\n"two\nlines",900,http://x.invalid/1\n,5,\nlast,,\n'
    result = read_source(saved("a.csv", data))
    assert [a.text for a in result.adverts] == ["two\nlines", "last"]
    assert result.adverts[0].advert_id == "http://x.invalid/1"
    assert result.adverts[0].stated[0].value == "900"
    assert [r.line for r in result.refusals] == [4]


def test_xlsx() -> None:
    book, out = openpyxl.Workbook(), io.BytesIO()
    for row in (["Text", "distance_miles"], ["Runs well", 12], ["Bad", "far"]):
        book.active.append(row)
    book.save(out)
    result = read_source(saved("a.xlsx", out.getvalue()))
    assert [a.distance_miles for a in result.adverts] == [12]
    assert [r.line for r in result.refusals] == [3]


def test_gather_walks_and_reports(tmp_path: Path) -> None:
    (tmp_path / "b.txt").write_text("b")
    (tmp_path / ".hidden").write_text("x")
    found = list(gather([tmp_path, tmp_path / "missing.txt"]))
    assert [f.name for f in found if isinstance(f, SourceFile)] == ["b.txt"]
    assert [f.source for f in found if isinstance(f, Refusal)] == ["missing.txt"]
