"""Spreadsheets (.xlsx): every sheet, its first filled row names the columns, one advert a row."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import openpyxl

from pipeline.ingest.limits import MOST_ADVERTS, MOST_COLUMNS, MOST_SHEETS, MOST_UNPACKED
from pipeline.ingest.tables import adverts_of, named
from pipeline.ingest.text import refused
from pipeline.types import Ingested, SourceFile


def read_xlsx(source: SourceFile) -> Ingested:
    """The adverts of all sheets. A sheet without a column `text` is left out while another has one."""
    with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > MOST_UNPACKED:
            return refused(source, "unpacks to too much. Save its rows as .csv.")
        for entry in archive.infolist():
            if entry.filename.endswith((".xml", ".rels")):
                with archive.open(entry) as handle:
                    if b"<!ENTITY" in handle.read(4096):
                        return refused(source, "declares entities, which no spreadsheet does. Save its rows as .csv.")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(source.data), read_only=True, data_only=True)
        sheets = book.worksheets[:MOST_SHEETS]
        got = [(sheet.title, _sheet(source, sheet, len(sheets) > 1)) for sheet in sheets]
    useful = [one for _, one in got if one.adverts] or [one for _, one in got]
    if not useful:
        return refused(source, "holds no sheets. Give it one advert a row.")
    adverts = tuple(advert for one in useful for advert in one.adverts)
    refusals = tuple(refusal for one in useful for refusal in one.refusals)
    return Ingested(adverts, refusals)


def _sheet(source: SourceFile, sheet: Any, several: bool) -> Ingested:
    where = replace(source, name=f"{source.name}#{sheet.title}") if several else source

    def rows() -> Iterator[tuple[int, list[Any]]]:
        for line, cells in enumerate(sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS), 1):
            if line > MOST_ADVERTS + 1:
                return
            yield line, list(cells)

    return adverts_of(where, named(rows()), "xlsx")
