"""Tables (.csv, .xlsx, .jsonl) with one advert a row; a bad row is refused with its line, the others stand."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any

import openpyxl

from pipeline.ingest.text import decode, tidy
from pipeline.types import MILES_PER_KM, Advert, Ingested, Refusal, SourceFile, StatedValue

Row = tuple[int, Mapping[str, Any] | str]  # line number, cells by column; or why the line is refused


def read_jsonl(source: SourceFile) -> Ingested:
    """One JSON object a line."""

    def rows() -> Iterator[Row]:
        for line, raw in enumerate(decode(source.data).split("\n"), 1):
            if not raw.strip():
                continue
            try:
                value = json.loads(raw)
            except (ValueError, RecursionError):
                yield line, "is not valid JSON. Write one object a line."
                continue
            yield line, value if isinstance(value, dict) else "is not a JSON object. Write one object a line."

    return _adverts(source, rows(), "jsonl")


def read_csv(source: SourceFile) -> Ingested:
    """Comma, semicolon or tab separated, the first line names the columns."""
    text = decode(source.data)
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)

    def rows() -> Iterator[tuple[int, list[Any]]]:
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

    return _adverts(source, _named(rows()), "csv")


def read_xlsx(source: SourceFile) -> Ingested:
    """The first sheet, its first row names the columns."""
    book = openpyxl.load_workbook(io.BytesIO(source.data), read_only=True, data_only=True)
    lines = enumerate(book.worksheets[0].iter_rows(values_only=True), 1)
    return _adverts(source, _named((line, list(cells)) for line, cells in lines), "xlsx")


def _named(rows: Iterable[tuple[int, list[Any]]]) -> Iterator[Row]:
    columns: list[str] | None = None
    for line, cells in rows:
        if cells and isinstance(cells[0], csv.Error):
            yield line, f"is not a readable row ({cells[0]}). Check its quotation marks."
        elif not any(str(cell).strip() for cell in cells if cell is not None):
            continue
        elif columns is None:
            columns = [str(cell or "").strip().lower() for cell in cells]
        elif len(cells) > len(columns):
            yield line, "has more cells than there are columns. Put quotation marks around text that holds commas."
        else:
            yield line, dict(zip(columns, cells, strict=False))


def _adverts(source: SourceFile, rows: Iterable[Row], reader: str) -> Ingested:
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
    return Ingested(tuple(adverts), tuple(refusals))


def _advert(source: SourceFile, row: Mapping[str, Any], line: int, reader: str) -> Advert:
    raw = row.get("text")
    if not isinstance(raw, str) or not raw.strip():
        raise ValueError("has no text. Fill the column `text` with the advert's words.")
    part = f"{source.name}#{_string(row, 'id') or line}"
    url = _string(row, "url")
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
    try:
        return datetime.fromisoformat(str(value).strip()).date()
    except ValueError:
        raise ValueError("has a saved_on that is not a date. Write it as 2026-10-31.") from None


def _miles(row: Mapping[str, Any]) -> float | None:
    for key, factor in (("distance_miles", 1.0), ("distance_km", MILES_PER_KM)):
        value = row.get(key)
        if value is None or value == "":
            continue
        try:
            number = float(value)
        except (TypeError, ValueError):
            number = math.nan
        if not math.isfinite(number) or number < 0:
            raise ValueError(f"has a {key} that is not a distance. Write a plain number.")
        return number * factor
    return None
