"""Tables (.csv, .jsonl, .json) with one advert a row; a bad row is refused with its line, the others stand."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any

from pipeline.ingest.address import clean_address
from pipeline.ingest.limits import MOST_LINE
from pipeline.ingest.text import checked, decode, refused, tidy
from pipeline.types import MILES_PER_KM, Advert, Ingested, Refusal, SourceFile, StatedValue

Row = tuple[int, Mapping[str, Any] | str]  # line number, cells by column; or why the line is refused


def read_jsonl(source: SourceFile) -> Ingested:
    """One JSON object a line."""

    def rows() -> Iterator[Row]:
        for line, raw in enumerate(decode(source.data).split("\n"), 1):
            if not raw.strip():
                continue
            if len(raw) > MOST_LINE:
                yield line, f"is longer than {MOST_LINE:,} characters. Write one advert a line."
                continue
            try:
                value = json.loads(raw)
            except (ValueError, RecursionError):
                yield line, "is not valid JSON. Write one object a line."
                continue
            yield line, value if isinstance(value, dict) else "is not a JSON object. Write one object a line."

    return adverts_of(source, rows(), "jsonl")


def read_json(source: SourceFile) -> Ingested:
    """One JSON array of objects, or one object."""
    try:
        value = json.loads(decode(source.data))
    except (ValueError, RecursionError):
        return refused(source, "is not valid JSON. Write one object a line and name it .jsonl.")
    found = value if isinstance(value, list) else [value]
    wrong = "is not a JSON object. Write one object an advert."
    return adverts_of(source, ((n, v if isinstance(v, dict) else wrong) for n, v in enumerate(found, 1)), "jsonl")


def read_csv(source: SourceFile) -> Ingested:
    """Comma, semicolon, tab or bar separated, the first line names the columns.

    A quotation mark that is never closed would swallow the rest of the table: the rows are then read line by line.
    """
    text = decode(source.data)
    lines = text.split("\n")
    delimiter = _delimiter(next((line for line in lines if line.strip()), ""))
    csv.field_size_limit(MOST_LINE)
    got = adverts_of(source, named(_quoted(text, delimiter)), "csv")
    if '"' in text and _swallows(text, delimiter):
        plain = adverts_of(source, named(_line_by_line(lines, delimiter)), "csv")
        if len(plain.adverts) > len(got.adverts):
            return plain
    return got


def _delimiter(first: str) -> str:
    bare = re.sub(r'"[^"]{0,1000}"', "", first)
    return max(",;\t|", key=bare.count)


def _quoted(text: str, delimiter: str) -> Iterator[tuple[int, list[Any]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    start = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            yield start, [error]
        else:
            yield start, list(cells)
        start = reader.line_num + 1


def _swallows(text: str, delimiter: str) -> bool:
    """Whether strict reading finds a quotation mark out of place."""
    try:
        for _ in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            pass
    except csv.Error:
        return True
    return False


def _line_by_line(lines: list[str], delimiter: str) -> Iterator[tuple[int, list[Any]]]:
    for number, line in enumerate(lines, 1):
        try:
            cells = next(csv.reader([line], delimiter=delimiter, strict=True), [])
        except csv.Error:
            cells = [cell.strip().strip('"') for cell in line.split(delimiter)]
        yield number, list(cells)


def named(rows: Iterable[tuple[int, list[Any]]]) -> Iterator[Row]:
    """Rows of cells as rows by column; the first filled row names the columns."""
    columns: list[str] | None = None
    for line, cells in rows:
        if cells and isinstance(cells[0], csv.Error):
            yield line, f"is not a readable row ({cells[0]}). Check its quotation marks."
        elif not any(str(cell).strip() for cell in cells if cell is not None):
            continue
        elif columns is None:
            columns = [str("" if cell is None else cell).strip().lower() for cell in cells]
        elif any(str(cell).strip() for cell in cells[len(columns) :] if cell is not None):
            yield line, "has more cells than there are columns. Put quotation marks around text that holds commas."
        else:
            yield line, dict(zip(columns, cells, strict=False))


def adverts_of(source: SourceFile, rows: Iterable[Row], reader: str) -> Ingested:
    """An advert or a refusal for each row."""
    adverts: list[Advert] = []
    refusals: list[Refusal] = []
    for line, row in rows:
        try:
            if isinstance(row, str):
                raise ValueError(row)
            adverts.append(_advert(source, row, line, reader))
        except ValueError as error:
            refusals.append(Refusal(source.name, str(error), line, source.sha256))
    if not adverts and not refusals:
        refusals.append(Refusal(source.name, "holds no rows. Give it one advert a row.", None, source.sha256))
    return checked(source, tuple(adverts), tuple(refusals))


def _advert(source: SourceFile, row: Mapping[str, Any], line: int, reader: str) -> Advert:
    raw = row.get("text")
    if not isinstance(raw, str) or not raw.strip():
        raise ValueError("has no text. Fill the column `text` with the advert's words.")
    part = f"{source.name}#{_string(row, 'id') or line}"
    url = clean_address(row.get("url")) or _string(row, "url")
    price = row.get("price")
    stated = (StatedValue("asking_price", price, "column price"),) if price not in (None, "") else ()
    return Advert(
        _string(row, "id") or url or part, tidy(raw).strip(), part, source.sha256, reader, _string(row, "title"),
        _day(row.get("saved_on")), url, _string(row, "seller"), _string(row, "place"), _miles(row), stated,
    )  # fmt: skip


def _string(row: Mapping[str, Any], key: str) -> str | None:
    value = row.get(key)
    return tidy(str(value)).strip() or None if value is not None else None


def _day(value: Any) -> date | None:
    if value is None or value == "":
        return None
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return datetime.fromisoformat(str(value).strip()).date()
    except ValueError:
        raise ValueError("has a saved_on that is not a date. Write it as 2026-10-31.") from None


def _number(value: Any) -> float:
    """A plain number, with a decimal comma or point; not a number for anything else."""
    text = str(value).strip().replace("\u00a0", "").replace(" ", "")
    if isinstance(value, str) and re.fullmatch(r"[+-]?\d{1,9},\d{1,2}", text):
        text = text.replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return math.nan


def _miles(row: Mapping[str, Any]) -> float | None:
    for key, factor in (("distance_miles", 1.0), ("distance_km", MILES_PER_KM)):
        value = row.get(key)
        if value is None or value == "":
            continue
        number = _number(value)
        if not math.isfinite(number) or number < 0:
            raise ValueError(f"has a {key} that is not a distance. Write a plain number.")
        return number * factor
    return None
