"""The status of one mention from the cues it sees."""

from __future__ import annotations

from pipeline.nlp.mentions import Cue, CueView, Mention
from pipeline.types import Status

POLAR = frozenset({"fault", "sound", "done", "due", "hedge"})
FLIP: dict[Status, Status] = {"present": "absent", "absent": "present", "done": "absent"}
SAYS = "hedge.says"  # an opinion: it gives way to what is said
_OF_PARTS = ("done.new", "done.had")  # "new", "had a": told of a part, not of a fault


def judge(mention: Mention) -> None:
    """Sets the statuses of a mention from its cues."""
    mention.statuses = []
    if mention.rule.kind != "part":
        _finding(mention)
    elif mention.cues or mention.negated:
        _part(mention)


def put(mention: Mention, status: Status, cue: Cue) -> None:
    """Adds a status that `cue` gives, once."""
    if not mention.has(status):
        span = min(mention.start, cue.start), max(mention.end, cue.end)
        mention.statuses.append((status, cue.rule.id, *span))


def put_own(mention: Mention, status: Status, rule: str | None = None) -> None:
    """Adds a status that the mention's own words, or a heading, give."""
    if not mention.has(status):
        mention.statuses.append((status, rule or mention.rule.id, mention.start, mention.end))


def view(cue: Cue, mention: Mention, how: str = "own") -> CueView:
    """How a mention sees a cue: words between them, negative when the cue goes before."""
    distance = cue.start - mention.end + 1 if cue.start >= mention.end else min(0, cue.end - mention.start - 1)
    return CueView(cue, distance, how)


def reaches(seen: CueView, mention: Mention) -> bool:
    """Whether a cue speaks of the mention's subject, looks towards it and far enough."""
    rule, distance = seen.cue.rule, seen.distance
    if rule.subjects and mention.subject not in rule.subjects:
        return False
    if seen.how == "orphan":
        return rule.direction != "forward"
    if seen.how != "own":
        return True
    if (rule.direction == "forward" and distance > 0) or (rule.direction == "backward" and distance < 0):
        return False
    return abs(distance) <= rule.reach + 1


def _part(mention: Mention) -> None:
    seen: dict[str, list[CueView]] = {}
    ahead: list[CueView] = []
    for one in mention.cues:
        kind = one.cue.kind
        if kind == "hedge" and one.cue.rule.direction == "forward" and one.distance > 0:
            ahead.append(one)
        if reaches(one, mention):
            seen.setdefault(kind, []).append(one)
    still = "still" in seen
    due, done, hedge, fault, sound = [seen.get(kind, []) for kind in ("due", "done", "hedge", "fault", "sound")]
    for one in ahead:  # "ball joints might be past it": a hedge that looks on to what is said of the part
        if any(other.cue.start >= one.cue.end for other in [*fault, *due, *done]):
            put(mention, "possible", one.cue)
            return
    if hedge and hedge[0].cue.rule.id == SAYS and (fault or sound or done or due):
        hedge = []
    if hedge:
        put(mention, "possible", hedge[0].cue)
        for one in fault:
            if one.cue.end <= hedge[0].cue.start and one.cue.start >= mention.start:
                put(mention, "present", one.cue)
        return
    if due:
        put(mention, "due", due[0].cue)
        for one in fault:
            if one.cue.end <= due[0].cue.start:
                put(mention, "present", one.cue)
        return
    if done:
        put(mention, "done", done[0].cue)
        if fault and still:
            put(mention, "present", fault[0].cue)
        return
    polar = [*fault, *sound]
    if polar:
        best = min(polar, key=lambda one: abs(one.distance) + (2 if one.distance < 0 else 0))
        put(mention, "present" if best.cue.kind == "fault" else "absent", best.cue)
        return
    if mention.negated and not seen.get("undone") and not seen.get("undue"):
        flipped = mention.rule.negated or (FLIP.get(mention.rule.bare) if mention.rule.bare else None)
        if flipped is not None:
            put_own(mention, flipped)


def limit(mention: Mention, allowed: frozenset[Status]) -> None:
    """Keeps the statuses that a subject can have; a finding that had only others keeps its own."""
    if all(status in allowed for status, *_ in mention.statuses):
        return
    mention.statuses = [told for told in mention.statuses if told[0] in allowed]
    own = mention.rule.default
    if not mention.statuses and own in allowed and own is not None:
        put_own(mention, own)


def _finding(mention: Mention) -> None:
    rule = mention.rule
    status = rule.default or "present"
    if mention.negated:
        flipped = rule.negated or FLIP.get(status)
        if flipped is not None:
            put_own(mention, flipped)
        return
    near = [one for one in mention.cues if reaches(one, mention)]
    if not near:
        put_own(mention, status)
        return
    kinds = {one.cue.kind for one in near}
    hedged = "hedge" in kinds and any(
        one.cue.kind == "hedge" and not (status == "present" and one.distance > 2) for one in near
    )
    done = "done" in kinds and any(
        one.cue.kind == "done" and (one.distance > 0 or not one.cue.rule.id.startswith(_OF_PARTS)) for one in near
    )
    due = "due" in kinds
    if hedged and status in ("present", "absent", "done"):
        put_own(mention, "possible")
    elif status == "present" and done:
        put_own(mention, "done")
        if "still" in kinds:
            put_own(mention, "present")
    elif status == "done" and due:
        put_own(mention, "due")
    else:
        put_own(mention, status)
        if status == "present" and due:
            put_own(mention, "due")
