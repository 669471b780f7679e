"""Tables as people save them: separators, decimal commas, marks at the start, a stray quotation mark, sheets, lines."""

import csv
import io
import json
from datetime import date, datetime

import openpyxl
import pytest
from saved import WORDS, packed, read

ROWS = [
    {"id": "a", "text": "Van; belt done, 90k", "price": "2.450,50", "saved_on": "2026-10-10", "distance_km": "16,1"},
    {"id": "b", "text": 'Van "with bed", two lines\nsecond', "price": "900", "saved_on": "", "distance_km": ""},
]


def table(delimiter: str, encoding: str) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(ROWS[0]), delimiter=delimiter)
    writer.writeheader()
    writer.writerows(ROWS)
    return out.getvalue().encode(encoding)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_every_separator_and_encoding(delimiter: str, encoding: str) -> None:
    result = read("t.csv", table(delimiter, encoding))
    assert result.refusals == ()
    first, second = result.adverts
    assert (first.advert_id, first.text, first.saved_on) == ("a", ROWS[0]["text"], date(2026, 10, 10))
    assert first.distance_miles == pytest.approx(10.0, abs=0.01)
    assert [(s.key, s.value, s.origin) for s in first.stated] == [("asking_price", "2.450,50", "column price")]
    assert (second.text, second.saved_on, second.distance_miles) == (ROWS[1]["text"], None, None)


def test_a_quotation_mark_that_is_never_closed_costs_one_row_at_most() -> None:
    lines = ["id,text,price", 'a,"a van, belt done",900', 'b,a van with 15" wheels,950', 'c,"never closed,960']
    lines += [f"d{n},plain words of van {n},{1000 + n}" for n in range(20)]
    result = read("t.csv", "\n".join(lines).encode())
    assert len(result.adverts) + len(result.refusals) == 23
    assert [a.advert_id for a in result.adverts][:2] == ["a", "b"] and len(result.adverts) >= 22


def test_a_bad_row_is_named_with_its_line_and_the_rest_stands() -> None:
    data = (
        b"id,text,saved_on\na,van one,2026-10-10\nb,,2026-10-11\nc,van three,yesterday\nd,van four,,x,y\ne,van five,\n"
    )
    result = read("t.csv", data)
    assert [a.advert_id for a in result.adverts] == ["a", "e"]
    assert [(r.line, r.reason.split(".")[0]) for r in result.refusals] == [
        (3, "has no text"),
        (4, "has a saved_on that is not a date"),
        (5, "has more cells than there are columns"),
    ]


def test_sheets_of_a_workbook() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "vans"
    sheet.append([None, None, None])
    sheet.append(["id", "Text", "price", "saved_on", "distance_miles"])
    sheet.append(["x1", WORDS, 2450.5, datetime(2026, 10, 10, 9), 12])
    sheet.append([None, None, None, None, None])
    sheet.append(["x2", "Second van", "=1+1", date(2026, 10, 11), "12,5"])
    book.create_sheet("notes").append(["nothing", "here"])
    other = book.create_sheet("more")
    other.append(["text"])
    other.append(["Third van"])
    out = io.BytesIO()
    book.save(out)
    result = read("anything.dat", out.getvalue())
    assert [a.text for a in result.adverts] == [WORDS, "Second van", "Third van"]
    assert [a.saved_on for a in result.adverts] == [date(2026, 10, 10), date(2026, 10, 11), None]
    assert [a.distance_miles for a in result.adverts] == [12, 12.5, None]
    assert result.adverts[2].advert_id == "anything.dat#more#2"


def test_lines_of_json_and_a_list_of_it() -> None:
    rows = [{"text": "van 1"}, {"text": "van 2", "price": 900, "odd": [1, {"x": None}]}, ["no"], {"text": ""}]
    as_lines = read("t.jsonl", "\n".join(map(json.dumps, rows)).encode())
    as_list = read("t.json", json.dumps(rows).encode())
    for result in (as_lines, as_list):
        assert [a.text for a in result.adverts] == ["van 1", "van 2"]
        assert [r.line for r in result.refusals] == [3, 4]


def test_halves_of_characters_do_not_reach_the_database() -> None:
    (advert,) = read("t.jsonl", b'{"text": "van \\ud800 here", "title": "\\udfff"}').adverts
    assert advert.text == "van   here" and advert.title is None


def test_a_table_in_an_archive_under_any_name() -> None:
    (first, second) = read("t.bin", packed({"x/list.csv": table(";", "utf-8")})).adverts
    assert (first.advert_id, first.source) == ("a", "t.bin#x/list.csv#a")
    assert second.advert_id == "b"
