"""From what a form brings to what is recorded. Names and limits; every sentence of an error says what to do."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request

from pipeline.desk.views import version
from pipeline.errors import UsageError
from pipeline.notes.record import Given, Recorder, claim_correction, fact_correction
from pipeline.notes.words import UNSAID, fact_key, fact_value, subject_of, told_claim
from pipeline.types import FATES, GRADES, STATUSES, AdvertView, Fate, Grade, Learnt, Note, VehicleView

MOST_PART = 4_000_000  # characters of one field
MOST_FILES = 500
_UNSAFE = re.compile(r"[^\w .()+,=@-]+")


class Conflict(UsageError):
    """Something was recorded since the form was opened."""


@dataclass(frozen=True, slots=True)
class Dropped:
    name: str
    data: bytes


async def fields(request: Request) -> tuple[dict[str, list[str]], list[Dropped]]:
    """Every field's values and the files of a form."""
    form: FormData
    async with request.form(max_files=MOST_FILES, max_fields=1000, max_part_size=MOST_PART) as form:
        values: dict[str, list[str]] = {}
        files: list[Dropped] = []
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                if value.filename:
                    files.append(Dropped(file_name(value.filename), await value.read()))
            else:
                values.setdefault(name, []).append(value.replace("\r\n", "\n"))
    return values, files


def file_name(given: str) -> str:
    """A name that is safe in any folder: no path, no hidden file, at most 120 characters, the ending kept."""
    name = _UNSAFE.sub("-", given.replace("\\", "/").rsplit("/", 1)[-1]).strip(" .-")
    stem, dot, ending = name.rpartition(".")
    if not dot:
        stem, ending = name, ""
    kept = f"{stem[: 110 - len(ending[:9])]}.{ending[:9]}" if ending else stem[:120]
    return kept or "dropped.txt"


def one(values: Mapping[str, Sequence[str]], name: str) -> str:
    """The first value of a field, without space around it."""
    return next(iter(values.get(name, ())), "").strip()


def given_of(values: Mapping[str, list[str]]) -> Given:
    """What the form "Record a call or a viewing" brings."""
    found = [
        f"{part}: {state}"
        for part, state in zip(values.get("part", ()), values.get("state", ()), strict=False)
        if part and state
    ]
    answers = [
        f"{subject}: {words.strip()}"
        for subject, words in zip(values.get("subject", ()), values.get("answer", ()), strict=False)
        if subject and words.strip()
    ]
    learnt: dict[str, Learnt] = {"call": "call", "viewing": "viewing", "papers": "papers"}
    fate: Fate = next((fate for fate in FATES if fate and fate == one(values, "fate")), "")
    return Given(
        found=found,
        answers=answers,
        text=one(values, "text"),
        photos=[name.strip() for name in one(values, "photos").splitlines() if name.strip()],
        price_agreed=_money(values, "price_agreed", "price agreed"),
        price_refused=_money(values, "price_refused", "offer refused"),
        no_less=bool(one(values, "no_less")),
        fate=fate,
        learnt=learnt.get(one(values, "learnt")),
    )


def _money(values: Mapping[str, list[str]], name: str, called: str) -> float | None:
    words = one(values, name)
    if not words:
        return None
    digits = words.lstrip("£$€ ").replace(",", "")
    if not re.fullmatch(r"\d{1,9}(\.\d{1,2})?", digits):
        raise UsageError(f"{called}: {words!r} is no sum", remedy="Give a number such as 2400.")
    return float(digits)


def check_version(vehicle: VehicleView, values: Mapping[str, list[str]]) -> None:
    """Raises Conflict when the form was made from an older record of the vehicle."""
    if one(values, "version") != version(vehicle):
        raise Conflict(
            "something else was recorded of this vehicle since you opened the page, perhaps in another tab",
            remedy="It is in the history below. Nothing of yours was stored yet: look, and save again.",
        )


def corrected(values: Mapping[str, list[str]], vehicle: VehicleView, recorder: Recorder, note: Note) -> Note:
    """The note of a correction form: one fact or one claim of one advert."""
    advert = _advert(values, vehicle)
    key = fact_key(one(values, "fact")) if one(values, "fact") else None
    if key is not None:
        words = one(values, "value")
        value = None if not words else fact_value(key, words, "correct")
        return replace(note, fact_corrections=(fact_correction(advert, key, value),))
    subject = subject_of(one(values, "subject"), recorder.subjects, "correct")
    instead_of = one(values, "instead_of")
    status = next((status for status in STATUSES if status == one(values, "status")), None)
    if status is None:
        if one(values, "status") not in UNSAID:
            raise UsageError("correct: no status was chosen", remedy="Choose what the advert says.")
        return replace(note, claim_corrections=(claim_correction(advert, subject, None, instead_of),))
    grade: Grade = next((grade for grade in GRADES if grade == one(values, "grade")), "plain")
    claim = told_claim(
        subject,
        status,
        "",
        "reading",
        recorder.rules,
        grade,
        _whole(values, "at_mileage", "at what mileage"),
        _whole(values, "at_year", "in what year"),
    )
    return replace(note, claim_corrections=(claim_correction(advert, subject, claim, instead_of),))


def _whole(values: Mapping[str, list[str]], name: str, called: str) -> int | None:
    words = one(values, name).replace(",", "")
    if not words:
        return None
    if not re.fullmatch(r"\d{1,7}", words):
        raise UsageError(f"{called}: {words!r} is no whole number", remedy="Give digits, or leave it empty.")
    return int(words)


def _advert(values: Mapping[str, list[str]], vehicle: VehicleView) -> AdvertView:
    wanted = one(values, "advert")
    found = next((text for text in vehicle.texts if text.advert_id == wanted), None)
    if found is None:
        raise UsageError("the advert is no longer one of this vehicle's", remedy="Open the vehicle again.")
    return found
