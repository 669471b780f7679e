"""Registration mark and vehicle identification number, as printed, spaces removed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import islice

from pipeline.nlp.facts.anchors import Begins, places_of, tried
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.scene import Scene
from pipeline.nlp.registration import mark_years
from pipeline.nlp.vin import is_vin

_MARK = re.compile(
    r"(?<![\w-])(?:[A-Z]{2}\d{2} ?[A-Z]{3}|[A-Z]\d{1,3} ?[A-Z]{3}|[A-Z]{3} ?\d{1,3}[A-Z]"
    r"|\d{2,3}-[A-Z]{1,2}-\d{1,6}|\d{2,3} [A-Z]{1,2} \d{2,6}"
    r"|[A-Z]{2,3} ?\d{1,4})(?![\w-])"
)
_NO_MARK = frozenset({"wof", "rwc", "cof", "mot", "nct", "cvrt", "tuv", "tüv", "exp", "till", "til", "to", "due"})
_DISTANCE = re.compile(r" \d{2,3}k$")  # "reg cab 103k miles"
_LETTERS = 4  # characters of a mark before its digits
_CAPITAL = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_LABELLED_MARK = re.compile(
    r"(?<!\w)(?:reg(?:istration)?(?: (?:no|number|mark))?|number ?plate|plate(?: no| number)?|license plate"
    r"|rego(?: no| number)?|kennzeichen)(?!\w)[.:]? {0,2}"
    r"(?:is |no |number )?([A-Za-z0-9]{1,4}[ -]?[A-Za-z0-9]{1,4}(?:[ -]?\d{1,4})?)(?![\w-])",
    re.IGNORECASE,
)
_MARK_LABELS = Begins(
    frozenset({"reg", "registration", "number", "numberplate", "plate", "license", "rego", "kennzeichen"})
)
_VIN = re.compile(r"(?<![A-Z0-9])[A-HJ-NPR-Z0-9]{17}(?![A-Z0-9])")
_VIN_SIGNS = 17
_LABELLED_VIN = re.compile(
    r"(?<!\w)(?:vin|chassis (?:no|num|number)|frame (?:no|number)|fahrgestellnummer|fin|serial (?:no|number)"
    r"|chassis)(?: is| no)?[.:#]{0,2} {0,2}"
    r"([A-Za-z0-9][A-Za-z0-9 ]{4,21}[A-Za-z0-9])(?![\w])",
    re.IGNORECASE,
)  # fmt: skip
_VIN_LABELS = ("vin", "chassis", "frame n", "fahrgestellnummer", "fin", "serial n")


def read_identity(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """Chosen plate and VIN, and rivals."""
    plate, plates = choose(_plates(scene))
    vin, vins = choose(_vins(scene))
    return [one for one in (plate, vin) if one], plates + vins


def _plates(scene: Scene) -> list[Candidate]:
    found = []
    for match in islice(_marks(scene), 201):
        years = mark_years(match.group())
        around = scene.text[max(0, match.start() - 20) : match.end() + 20]
        if around == around.upper() and re.search(r"[A-Z]{4}", around.replace(match.group(), "")):
            continue  # in shouted text "THE 131K" looks like a mark
        if re.match(r"[A-Z]\d ?[A-Z]{3}$", match.group()):
            continue  # "V6 SUV"
        if years:  # marks whose shape tells no year need a label: too many model names look like them
            found.append(_plate(match.group(), match.start(), match.end(), "identity.mark", 3.0))
    for match in tried(_LABELLED_MARK, scene.text, scene.words.starts(_MARK_LABELS)):
        text = match[1].strip()
        if text.split()[0].lower() in _NO_MARK or _DISTANCE.search(text):
            continue
        plain = text.upper().replace(" ", "")
        digits = sum(sign.isdigit() for sign in plain)
        letters = sum(sign.isalpha() for sign in plain)
        years = mark_years(text.upper())
        known = bool(years) or (years == () and text == text.upper())  # "rego til 3 Oct" has the shape of a mark
        if known or (5 <= len(plain) <= 8 and digits and letters and digits + letters >= 4 and text == text.upper()):
            found.append(_plate(text, match.start(1), match.start(1) + len(text), "identity.labelled", 4.0 + known))
    return found


def _marks(scene: Scene) -> Iterator[re.Match[str]]:
    """Matches as `finditer` gives them, looked for only where digits stand beside a capital."""
    text, done = scene.text, 0
    for digit, end in scene.runs:
        if digit >= done:
            before = text[max(0, digit - 2) : digit]
            first = (
                max(done, digit - _LETTERS)
                if before[-1:] in _CAPITAL or (before[-1:] == " " and before[0] in _CAPITAL)
                else digit
            )
            if first == digit and text[end + 1 : end + 2] not in _CAPITAL:
                continue
            for start in range(first, digit + 1):
                match = _MARK.match(text, start)
                if match is not None:
                    yield match
                    done = match.end()
                    break


def _plate(text: str, start: int, end: int, rule: str, score: float) -> Candidate:
    return Candidate("plate", text.upper().replace(" ", ""), start, end, rule, score, 1.0)


def _vins(scene: Scene) -> list[Candidate]:
    found = []
    for match in _VIN.finditer(scene.text) if scene.words.long_figured(_VIN_SIGNS) else ():
        if any(sign.isdigit() for sign in match.group()) and any(sign.isalpha() for sign in match.group()):
            found.append(Candidate("vin", match.group(), match.start(), match.end(), "identity.vin", 4.0, 1.0))
        if len(found) > 50:
            break
    signs = [sign for sign in _VIN_LABELS if sign in scene.low]
    labels = sorted(at for sign in signs for at in places_of(sign, scene.low)) if signs else ()
    for match in islice(tried(_LABELLED_VIN, scene.text, labels), 201):
        run = _code_run(match[1])
        plain = run.replace(" ", "").upper()
        digits = sum(sign.isdigit() for sign in plain)
        if 6 <= len(plain) <= 17 and digits >= 4 and digits * 3 >= len(plain):
            score = 5.0 + is_vin(plain)
            found.append(
                Candidate("vin", plain, match.start(1), match.start(1) + len(run), "identity.labelled_vin", score, 1.0)
            )
    return found


def _code_run(text: str) -> str:
    """The part of a stretch that is a code: groups of capitals and digits, up to the first ordinary word."""
    kept: list[str] = []
    for part in text.split(" "):
        if not part or part != part.upper() or (part.isalpha() and len(part) > 3 and kept):
            break
        kept.append(part)
    return " ".join(kept)
