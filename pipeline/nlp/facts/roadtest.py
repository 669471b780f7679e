"""The periodic roadworthiness test: valid, expired, exempt or none, and the month in which it ends."""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import islice
from typing import Literal

from pipeline.nlp.facts.anchors import AnyOf
from pipeline.nlp.facts.around import CueSet
from pipeline.nlp.facts.candidates import Candidate, choose
from pipeline.nlp.facts.dates import Dates, Span, Spoken, earlier, later, shifted
from pipeline.nlp.facts.scene import Scene
from pipeline.paths import data_folder
from pipeline.schemas.facts import TestWords, load_test_words

TestState = Literal["valid", "expired", "exempt", "none"]
MOST_MENTIONS = 60
PASSES = ("passed", "advisories", "certificate", "did one", "put it through one")  # names of a pass, not of its end
AUSTRALIAN = ("pink slip", "blue slip")
_SINCE = re.compile(r" since (?:(?:about|around|early|late|mid|last|the) )?(?:19|20)\d\d(?!\d)")
_AGO = re.compile(r" (?:ago|back)(?!\w)")
MOST_AHEAD = 13  # months from now to the end of an MOT: a month's grace for an early renewal
_SIGNS = " \n,.;:(-–"
_QUOTED = 125  # and those to the word that a certificate ends
_OTHERS_END = re.compile(r"tax|rego|insur|licen[cs]e|warranty|guarantee|lease|[.;!?]\s|\n")
_AFTER, _BEFORE = 75, 45  # characters in which a date belongs to the name
_ENDS = re.compile(
    r"(?:until|untill|till|til|to|thru|through|expir\w*|runs out|due(?: by)?|ends)(?: the| end of| early| mid| late"
    r"| on)?[\s:'’(]{0,3}$"
)
_PAST = re.compile(
    r"passed|fresh|done|inspected|tested (?:in|on)|issued|came through|sailed through|went through|flew through|dated"
    r"|made|checked|new"
)
_THEN_PASSED = re.compile(
    r"[\s,(–-]*(?:and |it |she |he |then )*(passed|sailed through|went through|flew through|came through"
    r"|fresh(?=\s*(?:[.,;)\n]|$)))"
)
_FAILED = re.compile(r"fail|refus|not pass")
_LAST, _LAST_BEFORE = "skip.last", re.compile(r"(?:^| )(?:last|latest) $")
_TO_COME = re.compile(r"until|untill|till|til|\bto\b|up to|thru|through|expir|runs out|due|ends|valid|good")
_ALONE = re.compile(r"(?:^|[.;!\n,] ?)(exempt|tax exempt)(?=[.;!\n,]|$)")  # "Exempt." says nothing else


@lru_cache(maxsize=1)
def rules() -> TestWords:
    return load_test_words(data_folder("rules"))


@lru_cache(maxsize=1)
def cue_set() -> CueSet:
    return CueSet(rules().states)


@lru_cache(maxsize=1)
def names() -> dict[str, AnyOf]:
    """Names by kind; `other`: what looks like a name and is none."""
    return {**{kind: AnyOf(texts) for kind, texts in rules().names.items()}, "other": AnyOf(rules().not_names)}


@lru_cache(maxsize=1)
def link() -> re.Pattern[str]:
    """A stretch of little words and signs, as they stand between the name of a test and its date."""
    signs = r"[\s:,.\-–—()='’/]*+"
    words = "|".join(sorted(rules().link, key=len, reverse=True))
    return re.compile(rf"{signs}(?:(?:{words})(?![a-z]){signs}){{0,8}}")


@lru_cache(maxsize=1)
def dates() -> Dates:
    return Dates(rules().months)


def read_test(scene: Scene) -> tuple[list[Candidate], list[Candidate]]:
    """Chosen state with its month of expiry, and rivals."""
    found: list[Candidate] = []
    for match in islice(names()["exempt"].finditer(scene.words), MOST_MENTIONS):
        found.append(Candidate("test_state", "exempt", match.start(), match.end(), "test.exempt.named", 7.0, 2.0))
    for start, end, sure in _mentions(scene):
        if not any(one.start < end and start < one.end for one in found if one.rule == "test.exempt.named"):
            found += _at(scene, start, end, sure)
    if any(one.value == "valid" and one.also and one.score >= one.least for one in found):
        found = [one for one in found if one.value != "exempt"]  # exempt, and tested all the same
    for match in islice(_ALONE.finditer(scene.low), MOST_MENTIONS) if "exempt" in scene.low else ():
        found.append(Candidate("test_state", "exempt", match.start(1), match.end(1), "test.exempt.alone", 3.0, 2.0))
    best, rivals = choose(found)
    return [best] if best else [], rivals


def _mentions(scene: Scene) -> list[tuple[int, int, bool]]:
    other: list[tuple[int, int]] | None = None
    found: list[tuple[int, int, bool]] = []
    for kind in ("sure", "likely"):
        for match in names()[kind].finditer(scene.words):
            start, end = match.span()
            if len(found) >= MOST_MENTIONS:
                break
            if other is None:
                other = [match.span() for match in islice(names()["other"].finditer(scene.words), MOST_MENTIONS)]
            if match.group().startswith(AUSTRALIAN) and scene.country.id != "au":
                continue  # elsewhere a paper of title
            if any(a < end and start < b for a, b in other) or any(a < end and start < b for a, b, _ in found):
                continue
            found.append((start, end, kind == "sure"))
    return sorted(found)


def _at(scene: Scene, start: int, end: int, sure: bool) -> list[Candidate]:
    sums: dict[str, float] = {}
    ids: list[str] = []
    for cue in cue_set().read(scene.around(start, end)):
        name = cue.id.split(".")[0]
        sums[name] = sums.get(name, 0.0) + cue.weight
        ids.append(cue.id)
    if scene.low.startswith("uncertified", start):
        sums["none"] = sums.get("none", 0.0) + 4.0
    if scene.low[start:end].endswith(("'d", "’d", "safetied", "selling certified")):
        sums["valid"] = sums.get("valid", 0.0) + 3.5  # "MOT'd after the rebuild"
    when, first, last, _ = _date(scene, start, end)
    between = scene.low[end:first] if first >= end else ""
    told = ids == [_LAST] and isinstance(when, Spoken) and not _FAILED.search(scene.low[last : last + 20])
    if (sums.get("skip") and not (sums.get("none") or told)) or (
        scene.low[start:end] in PASSES and (not isinstance(when, Spoken) or scene.country.id not in ("gb", "ie"))
    ):
        return []
    state: TestState | None = _state(
        sums,
        when,
        sure
        or (when is not None and len(between) <= 8 and (" in " not in between or between.strip(" (") == "in"))
        or (
            isinstance(when, Spoken)
            and (len(between) <= 20 or (when.year is not None and "expir" in between))
            and _ENDS.search(between) is not None
        ),
    )
    if state == "none" and (
        (when is not None and ("since" in between or "gone" in between)) or _SINCE.match(scene.low, end)
    ):
        state = "expired"
        sums["expired"] = sums["none"]
    if state is None:
        return []
    expiry = _expiry(scene, state, when, start, end, first, last)
    if state == "valid" and expiry and expiry < f"{scene.saved_on:%Y-%m}":
        state = "expired"
    dated = when is not None and state in ("valid", "expired")
    score = (
        sums.get(state, 0.0)
        + (sums.get("otherwise", 0.0) if state == "exempt" else 0.0)
        + (6.0 if dated else 0.0)
        + (1.0 if sure else 0.0)
    )
    if not dated:
        first, last = start, end
    also = (("test_expiry", expiry),) if expiry else ()
    rule = f"test.{next((one for one in ids if one.startswith(state)), state + '.date')}"
    least = 2.0 if sure else 3.0
    return [Candidate("test_state", state, min(start, first), max(end, last), rule, score, least, tuple(ids), also)]


def _state(sums: dict[str, float], when: Spoken | Span | None, sure: bool) -> TestState | None:
    """The state of the heaviest cues. A date alone is a valid test; `none` beside a date is an expired one."""
    if sums.get("exempt") or (sums.get("otherwise") and when is None):
        return "exempt"
    bad: TestState = "none" if sums.get("none", 0.0) >= sums.get("expired", 0.0) else "expired"
    if sums.get("expired") and sums.get("none"):
        return "expired"
    if sums.get(bad, 0.0) > sums.get("valid", 0.0):
        return bad
    if when is not None and (sure or sums.get("valid") or isinstance(when, Span)):
        return "valid"
    return "valid" if sums.get("valid", 0.0) >= (3.0 if sure else 4.0) else None


def _date(scene: Scene, start: int, end: int) -> tuple[Spoken | Span | None, int, int, int]:
    """The date or length of time that belongs to a name at start..end, with its place and its distance."""
    after = scene.low[end : end + _AFTER]
    expires = scene.low.find("expir", end + _AFTER // 2, end + _QUOTED)  # a certificate quoted after its name
    if expires > 0 and not _OTHERS_END.search(scene.low, end, expires):
        after = scene.low[end : expires + _BEFORE]
    before = scene.clause_before(start, _BEFORE)
    before_from = start - len(before)
    best: tuple[Spoken | Span | None, int, int, int] = (None, start, end, 99)
    for one in _read(scene, after):
        between = after[: one.start]
        ends = _ENDS.search(between)
        linked = (match := link().match(after)) is not None and match.end() >= one.start
        if not linked and not (ends and not re.search(r"[.;!?](?:\s|$)|\n|tax|rego|insur|licen[cs]e", between)):
            continue
        own = ends and "tax" not in between and "rego" not in between
        distance = one.start - (40 if own else 0)  # "made in July, valid until 07/2028"
        if distance < best[3] and "\n\n" not in between:
            best = (one, end + one.start, end + one.end, distance)
    for one in _read(scene, before):
        rest = before[one.end :]
        if (
            re.fullmatch(r"[\s'’(:-]*(?:(?:of|on|the|left|worth|on the|new|full|and|tax|long|s)[\s'’-]*){0,3}", rest)
            and len(rest) < best[3] - 4
        ):
            best = (one, before_from + one.start, before_from + one.end, len(rest))
    bare = re.search(r"(?<![\w.,/])(\d{1,2}) {0,2}$", before)
    if best[0] is None and bare and 2 <= int(bare[1]) <= 13:  # "12 mot"
        best = (Span(0, 0, float(bare[1])), before_from + bare.start(1), start, 0)
    return best


def _read(scene: Scene, stretch: str) -> list[Spoken | Span]:
    read = dates()
    found: list[Spoken | Span] = [
        *read.spans(stretch),
        *read.figures(stretch, scene.country.month_first),
        *read.months(stretch, scene.saved_on.year),
        *read.relative(stretch, scene.saved_on),
    ]
    return sorted(found, key=lambda one: one.start)


def _expiry(
    scene: Scene, state: str, when: Spoken | Span | None, start: int, end: int, first: int, last: int
) -> str | None:
    if when is None:
        return _fresh(scene, start, end) if state == "valid" else None
    if isinstance(when, Span):
        if state == "expired":
            return shifted(scene.saved_on, -when.months)
        if state == "valid" and _AGO.match(scene.low, last):  # "MOT two weeks ago"
            months = _span(scene, scene.low[start:end])
            return shifted(scene.saved_on, months - when.months) if months else None
        return shifted(scene.saved_on, when.months) if state == "valid" else None
    if state == "expired":
        return earlier(when, scene.saved_on)
    if state != "valid":
        return None
    between = scene.low[end:first] if first >= end else ""
    near = scene.clause_before(start, 16) + scene.low[start:end] + " " + between
    if (then := _THEN_PASSED.match(scene.low, last)) is not None:  # "September, passed first time"
        near += " " + then[1]
    if _LAST_BEFORE.search(scene.clause_before(start, 8)):  # "last test, February"
        near += " done"
    past = _PAST.search(near) and not _TO_COME.search(near)
    ahead = 12 * ((when.year or 0) - scene.saved_on.year) + when.month - scene.saved_on.month
    if when.short and when.year and (past or (ahead > MOST_AHEAD and scene.country.id == "gb")):
        when = when._replace(day=when.year % 100, year=None)  # "done Sept 28", "MOT Feb 28"
    if when.year and (when.year, when.month) > (scene.saved_on.year, scene.saved_on.month):
        return later(when, scene.saved_on)
    if (
        (
            _PAST.search(near)
            or (when.which == "last" and when.year)  # "MOT last month"
            or between.strip(" (") in ("in", "on")
            or scene.low[start:end] in PASSES
        )
        and not _TO_COME.search(near)
    ):
        return _after_pass(scene, when, scene.low[start:end], scene.low[last : last + 24])
    return later(when, scene.saved_on)


def _after_pass(scene: Scene, when: Spoken, name: str, after: str) -> str | None:
    """Expiry when the month of the pass was said: the usual span of that test after it, where it has one."""
    passed = earlier(when, scene.saved_on)
    spans = dates().spans(after)
    told = spans[0].months if spans and not after[: spans[0].start].strip(" ,(") else 0
    months = round(told) or _span(scene, name)
    if not months:
        return None
    index = int(passed[:4]) * 12 + int(passed[5:]) - 1 + months
    return f"{index // 12}-{index % 12 + 1:02d}"


def _span(scene: Scene, name: str) -> int:
    """Months that a fresh test of that name runs, 0 when it is not taken for granted."""
    spans = rules().spans
    return spans.get(f"{scene.country.id}.{name}", spans.get(name, 0))


def _fresh(scene: Scene, start: int, end: int) -> str | None:
    """Expiry of a test that was done just now: "WOF done last week", "fresh WOF"."""
    around = scene.low[max(0, start - 14) : end + 34]
    if scene.low[max(0, start - 5) : start].strip(_SIGNS) != "new" and not re.search(
        r"just (?:done|had|passed|been)|last week|this week|yesterday|today|fresh|brand new|done (?:mon|tues"
        r"|wednes|thurs|fri|satur|sun)day|(?:last|on|this) (?:mon|tues|wednes|thurs|fri|satur|sun)day",
        around,
    ):
        return None
    months = _span(scene, scene.low[start:end])
    return shifted(scene.saved_on, months) if months else None
