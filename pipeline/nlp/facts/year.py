"""The year: stated, or what a registration letter or age code covers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Set
from functools import lru_cache
from itertools import islice

from pipeline.nlp.facts.anchors import places_of, tried
from pipeline.nlp.facts.around import CueSet
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.scene import Scene
from pipeline.nlp.registration import age_code_years, bare_letter_years, irish_years, letter_years, mark_years
from pipeline.paths import data_folder
from pipeline.schemas.facts import CueRules, load_cues

EARLIEST = 1900
_FOUR = re.compile(
    r"(?<![\w.,£€$/+-])(?P<year>(?:19|20)\d\d)"
    r"(?!\w|/(?!(?:\d\d?|[a-hj-np-y])(?![\w/]))|[.,]\d|-\d|[ ]?(?:cc|miles|mi|km|kms|kg|rpm|quid|pounds"
    r"|euro|€|£|\$|lb|lbs|hours|hrs|watt|w(?!(?<= w)[,.;)\n])|ono|obo|mm|ml)(?![a-z]))"
)
_MONTHED = re.compile(r"(?<![\w.,£€$/-])(?:\d{1,2}[./-]){1,2}(?P<year>(?:19|20)\d\d)(?![\w/.-]\d|\w)")
_SHORT = re.compile(r"(?<![\w])['’‘`](?P<yy>\d\d)(?![\w/])")
_MONTH = re.compile(r"[a-z]+\.? ?$")
_MONTH_REACH = 12  # characters of a month's name
_QUOTES = frozenset("'’‘`")
_OPENING = re.compile(
    r"[\s*•\-–—!(]{0,4}(?:(?:for sale|selling|sale|my|lovely|nice|clean|a"
    r"|an)[:,! ]{1,3}){0,3}(?P<yy>\d\d)(?= [a-z]{3,}| \w+ )(?! ?(?:plate|reg|miles|years|months|k\b|seat|ft|feet"
    r"|foot|days|weeks))"
)
_LETTER = re.compile(
    r"(?<![\w'’])(?P<letter>[a-hj-np-y])[ -]?(?P<what>reg(?:istered|istration|d|'d)?|plate|suffix|prefix"
    r"|reg plate)(?![a-z])(?P<more>[ -](?:suffix|prefix))?"
)
_NEXT_YEAR = re.compile(r"/(\d\d?)(?![\w/])")  # "1993/4"
_NEXT_LETTER = re.compile(r"[ ]?[ (/-]([a-hj-np-y])(?![\w'’])")
_CODE = re.compile(
    r"(?<![\w.,£€$/-])(?:on (?:an? )?)?(?P<code>\d\d)[ -]?(?:plate|reg(?:istered|istration|d|'d)?|plated)(?![a-z])"
)
_CODE_AFTER = re.compile(r"(?:plate|reg|registration)[:. ]{1,2}(?P<code>\d\d)(?![\w.,/]\d|\d|\w)")
_LONE = re.compile(
    r"(?:(?<=[,.(\n·|])|(?<=[,.(\n·|] ))(?P<code>[056][1-9]|1[0-9]|2[0-5]|7[0-5])(?=\)|,|\.(?:\s|$)|\n| [-·|]|$)(?!,\d)"
)
_ZERO = re.compile(  # "2.0d 07 manual", "1.9 56 149k"
    r"(?<= )(?P<code>0[2-9](?= [a-z]{2,}|, |\. )|(?:0[2-9]|[15]\d|6[0-9]|2[0-5]|7[0-5])(?= \d{2,3}k(?!\w)))"
)
_YEAR_LETTER = re.compile(r"(?<![\w.,£€$/-])(?P<yy>[6-9]\d)[ -](?P<letter>[a-hj-np-y])(?![\w'’])")  # "94 M"
_SHORT_LONE = re.compile(r"(?<=[a-z] )(?P<yy>[6-9]\d)(?=[.,](?:\s|$))")  # "coupe 76."
_IRISH = re.compile(
    r"(?<![\w.,£€$/-])(?P<prefix>(?:8[7-9]|9\d|0\d|1[0-2]|(?:1[3-9]"
    r"|2\d)[12]))[ -](?P<county>[a-z]{1,2})(?![\w'])(?:[ -](?:reg|\d{1,6}))?"
)
_IRISH_REG = re.compile(  # "161 reg"; "Year: 161", or at the head of a line
    r"(?<![\w.,£€$/-])(?P<prefix>(?:1[3-9]|2\d)[12])(?: reg| plate|(?=[ ])|(?<=\n...)(?=,(?!\d)|\n|$)"
    r"|(?<=year: ...)(?=,(?!\d)|\n|$))"
)


@lru_cache(maxsize=1)
def cue_rules() -> CueRules:
    return load_cues(data_folder("rules"), "year")


@lru_cache(maxsize=1)
def cue_set() -> CueSet:
    return CueSet(cue_rules().cues)


@lru_cache(maxsize=1)
def not_mine() -> CueSet:
    return CueSet([cue for cue in cue_rules().cues if cue.id.startswith("not_mine")])


def read_year(scene: Scene, plate: Candidate | None = None) -> tuple[list[Candidate], list[Candidate]]:
    """Chosen years (a tuple, oldest first) and rivals. `plate`: the registration mark read, where there is one."""
    said = _stated(scene)
    plated = [*_plated(scene, {year for one in said for year in one.value}), *_marked(plate)]
    covered = {year for one in plated for year in one.value}
    stated = [
        one._replace(score=one.score + cue_rules().weights["agrees" if one.value[0] in covered else "disagrees"])
        if covered and one.rule != "year.label"
        else one
        for one in said
    ]
    best, rivals = choose([*stated, *plated])
    return [best] if best else [], rivals


def _stated(scene: Scene) -> list[Candidate]:
    rules = cue_rules()
    weights, found = rules.weights, []
    low = scene.low
    quoted = [at - 1 for at, end in scene.runs if end - at == 2 and at and low[at - 1] in _QUOTES]
    shorts = tried(_SHORT, low, quoted)
    for name, every in (("four", scene.led(_FOUR, 4, 4)), ("monthed", scene.led(_MONTHED, 1, 2)), ("short", shorts)):
        for match in islice(every, 201):
            year = int(match["year"]) if name != "short" else _century(int(match["yy"]), scene)
            if not EARLIEST <= year <= scene.saved_on.year + 1 or scene.hidden(match.start(), match.end()):
                continue
            score, ids = cue_set().sums(scene.around(match.start(), match.end()))
            features = [name]
            month = _MONTH.search(low, max(0, match.start() - _MONTH_REACH), match.start()) if "month" in ids else None
            if month is not None:  # "First registered: October 2012"
                labelled, told = cue_set().sums(scene.around(month.start(), match.end()))
                if "label" in told:
                    score, ids = labelled, told
            letter = _NEXT_LETTER.match(scene.low, match.end())
            if letter and year in (*letter_years(letter[1], "prefix"), *letter_years(letter[1], "suffix")):
                features.append("lettered")
            if match.start() < 60:
                features.append("title")
            features.append("opening" if match.start() < 120 else "early" if match.start() < 250 else "late")
            if year > scene.saved_on.year - 1:
                features.append("this_year")
            score += sum([weights.get(feature, 0.0) for feature in features])
            found.append(
                Candidate("year", _both(year, scene.low, match.end()), match.start(), match.end(),
                          "year." + (ids[0] if ids else name),
                          score - match.start() / 5_000, rules.least, (*features, *ids))
            )  # fmt: skip
    opening = _OPENING.match(scene.low)
    if opening:
        year = _century(int(opening["yy"]), scene)
        if year <= scene.saved_on.year:
            start = opening.start("yy")
            found.append(
                Candidate("year", (year,), start, start + 2, "year.opening", weights["first_word"], rules.least)
            )
    return found


def _both(year: int, low: str, end: int) -> tuple[int, ...]:
    """The year, and the next one where that follows it: "1993/4"."""
    match = _NEXT_YEAR.match(low, end)
    following = match is not None and str(year + 1).endswith(match[1])
    return (year, year + 1) if following else (year,)


def _century(short: int, scene: Scene) -> int:
    return (2000 if short <= scene.saved_on.year - 2000 else 1900) + short


def _plated(scene: Scene, stated: Set[int]) -> list[Candidate]:
    rules = cue_rules()
    weights, found = rules.weights, []

    def add(years: tuple[int, ...], start: int, end: int, name: str) -> None:
        if years and years[0] <= scene.saved_on.year:
            score = weights[name] - start / 5_000
            score += not_mine().sums(scene.around(start, end))[0]
            found.append(Candidate("year", years, start, end, f"year.{name}", score, rules.least, (name,)))

    low = scene.low
    named = sorted(at for sign in ("reg", "plate") for at in places_of(sign, low))
    affixed = [at for sign in ("suffix", "prefix") for at in places_of(sign, low)]
    letters = [at - 2 if at > 1 and low[at - 1] in " -" else at - 1 for at in sorted(named + affixed) if at]
    for match in _bounded(tried(_LETTER, low, letters), scene):
        if match["letter"] == "a" and not scene.text[match.start("letter")].isupper():
            continue  # "with a reg plate"
        letter, kind = match["letter"], f"{match['what']} {match['more'] or ''}"
        if "suffix" in kind:
            years = letter_years(letter, "suffix")
        else:
            years = letter_years(letter, "prefix") if "prefix" in kind else _bare(letter, scene, stated)
        add(years, match.start(), match.end(), "letter")
    coded = any(low[max(0, at - 2) : at].rstrip(" -")[-1:].isdecimal() for at in named)
    codes = list(_bounded(_CODE.finditer(low), scene)) if coded else []
    for matches, name in (
        (codes, "code"),
        (_bounded(tried(_CODE_AFTER, low, named), scene), "code"),
        (_bounded(scene.led(_LONE, 2, 2, before=160), scene), "lone"),
        (_bounded(scene.led(_ZERO, 2, 2, before=110), scene), "zero"),
    ):
        for match in matches:
            code = match["code"]
            years = (2000 + int(code),) if code in ("00", "01") and name == "code" else age_code_years(code)
            add(years, match.start("code"), match.end("code"), name)
    for match in _bounded(scene.led(_YEAR_LETTER, 2, 2), scene):
        year = 1900 + int(match["yy"])
        if year in (*letter_years(match["letter"], "prefix"), *letter_years(match["letter"], "suffix")):
            add((year,), match.start("yy"), match.end(), "year_letter")
    for match in _bounded(scene.led(_SHORT_LONE, 2, 2, before=100), scene):
        add((1900 + int(match["yy"]),), match.start("yy"), match.end("yy"), "lone")
    if scene.country.id == "ie":
        for match in _bounded(scene.led(_IRISH, 2, 3), scene):
            add(mark_years(f"{match['prefix']}-{match['county'].upper()}-1") or (), match.start(), match.end(), "irish")
        for match in _bounded(scene.led(_IRISH_REG, 3, 3), scene):
            add(irish_years(match["prefix"]), match.start(), match.end(), "irish")
        for match in codes:
            add(irish_years(match["code"]), match.start(), match.end(), "irish")
    return found


def _marked(plate: Candidate | None) -> list[Candidate]:
    """The years of a whole registration mark."""
    rules = cue_rules()
    years = mark_years(str(plate.value)) if plate else None
    if not plate or not years:
        return []
    return [
        Candidate("year", years, plate.start, plate.end, "year.mark", rules.weights["mark"], rules.least, ("mark",))
    ]


def _bare(letter: str, scene: Scene, stated: Set[int]) -> tuple[int, ...]:
    """A letter said alone: the newer series, unless the vehicle is said to be too old for it."""
    newer, older = bare_letter_years(letter), letter_years(letter, "suffix")
    if not stated.isdisjoint(older) and stated.isdisjoint(newer):
        return older  # "1981, W registration"
    historic = re.search(r"tax[ -]exempt|mot[ -]exempt|historic|tax and mot exempt|exempt from (?:tax|mot)", scene.low)
    if older and historic and newer and newer[-1] > scene.saved_on.year - 40:
        return older
    return newer


def _bounded(matches: Iterable[re.Match[str]], scene: Scene, most: int = 100) -> Iterator[re.Match[str]]:
    """The first matches outside telephone numbers."""
    return islice((match for match in matches if not scene.hidden(*match.span())) if scene.masked else matches, most)
