"""Adverts as JSON lines in, facts and claims as JSON lines out, one for one and in order. No database."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import date
from itertools import islice
from typing import Any

from pipeline.nlp.advert import TOGETHER, Advert, AdvertReader
from pipeline.paths import data_folder
from pipeline.types import FACT_KEYS, Reading


def extract_lines(lines: Iterable[bytes], today: date | None = None) -> Iterator[tuple[str, bool]]:
    """For every line that is not blank: the answer, and whether the line could be read. Some lines are read at a time.

    A line needs `text`; `id` and `saved_on` (ISO 8601, default: today) are used when present.
    """
    reader = AdvertReader.to_stay(data_folder("rules"))
    asked = (_asked(number, raw, today) for number, raw in enumerate(lines, 1) if raw.strip())
    while some := list(islice(asked, TOGETHER)):
        adverts = [advert for _, advert, _ in some if advert is not None]
        try:
            readings: Iterator[Reading | None] = iter(list(reader.read_all(adverts)))
        except (ValueError, RecursionError):  # one that cannot be read leaves the others beside it as they are
            readings = (_alone(reader, advert) for advert in adverts)
        for name, advert, error in some:
            reading = None if advert is None else next(readings)
            told = {"error": error or "its text cannot be read"} if reading is None else reading_json(reading)
            yield json.dumps({"id": name, **told}, ensure_ascii=False), reading is not None


def _alone(reader: AdvertReader, advert: Advert) -> Reading | None:
    """The reading of one advert; None where its text brings the reader down."""
    try:
        return next(reader.read_all([advert]))
    except (ValueError, RecursionError):
        return None


def _asked(number: int, raw: bytes, today: date | None) -> tuple[Any, Advert | None, str]:
    """What a line names the advert, what is to be read, and what is wrong with the line where nothing is."""
    name: Any = None
    try:
        row = json.loads(raw.decode("utf-8-sig"))
        if not isinstance(row, dict):
            raise ValueError("is not a JSON object")
        name = row.get("id")
        if not isinstance(row.get("text"), str):
            raise ValueError("has no text; fill the key 'text' with the advert's words")
        return name, Advert(row["text"], _day(row.get("saved_on")) or today or date.today()), ""
    except (ValueError, RecursionError) as error:
        what = "is not valid JSON" if isinstance(error, json.JSONDecodeError | UnicodeDecodeError) else str(error)
        return name, None, f"line {number} {what}"


def reading_json(reading: Reading) -> dict[str, Any]:
    """Facts by key (None where the advert is silent), their quotes, and the claims, with offsets."""
    facts: dict[str, Any] = dict.fromkeys(FACT_KEYS)
    evidence = {}
    for fact in reading.facts:
        facts[fact.key] = list(fact.value) if isinstance(fact.value, tuple) else fact.value
        evidence[fact.key] = {
            "quote": fact.quote,
            "start": fact.start,
            "end": fact.end,
            "rule": fact.rule,
            "confidence": round(fact.confidence, 3),
        }
    claims = [
        {
            "subject": c.subject,
            "status": c.status,
            "grade": c.grade,
            "at_mileage": c.at_mileage,
            "at_year": c.at_year,
            "quote": c.quote,
            "start": c.start,
            "end": c.end,
            "rule": c.rule,
            "confidence": round(c.confidence, 3),
        }
        for c in reading.claims
    ]
    return {"facts": facts, "claims": claims, "evidence": evidence}


def _day(value: Any) -> date | None:
    if value in (None, ""):
        return None
    try:
        return date.fromisoformat(str(value)[:10])
    except ValueError:
        raise ValueError("has a saved_on that is not a date; write it as 2026-10-31") from None
