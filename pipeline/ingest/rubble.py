"""Copied and printed pages: menus, cookie notices, footers and strips of other adverts taken out of plain text.

Only lines that are nothing else are dropped, and everything is kept where little would be left: a claim lost costs
more than a menu read.
"""

from __future__ import annotations

import re

from pipeline.ingest.limits import FEWEST_WORDS

LEAST_SHARE = 0.2  # of the words; where less would be left, the rules have met an advert that looks like a menu
PROSE_WORDS = 14  # a line with so many is somebody's sentence, and ends a strip of other adverts
LONGEST_HEADING = 60

STRIP = re.compile(
    r"(?:similar|related|recommended) (?:adverts?|ads|listings?|items|vehicles|vans|cars|campers?|results)\b|"
    r"(?:recently viewed|you (?:also )?(?:looked|viewed)|you (?:may|might) (?:also )?(?:like|be interested)|"
    r"people (?:also|who) (?:viewed|looked|liked)|others? (?:also )?(?:viewed|looked)|sponsored|featured ads)\b|"
    r"more (?:from this|from the|from) (?:seller|dealer|garage)\b|more (?:like this|adverts|ads|listings)\b|"
    r"(?:the )?(?:seller|dealer)['’]s other (?:adverts?|ads|items|vehicles|listings)\b|"
    r"(?:representative|finance) example\b",
    re.IGNORECASE,
)

# Whole lines that buttons and menus leave behind.
BUTTONS = re.compile(
    r"(?:home|menu|search|sign in|sign up|log ?in|log ?out|register|my account|account|basket|sell|sell (?:yours|now)|"
    r"post (?:an )?ad(?:vert)?|place an ad(?:vert)?|favourites?|saved(?: searches| adverts)?|save|saved|share|print|"
    r"back(?: to (?:results|search|top))?|next|previous|more|show more|read more|see more|view all|see all|show all|"
    r"close|accept(?: all)?|reject(?: all)?|allow all|needed only|manage (?:cookies|settings|preferences)|settings|ok|"
    r"got it|report(?: this)?(?: ad(?:vert)?| listing)?|message(?: seller)?|contact(?: seller| us)?|email seller|"
    r"call seller|show (?:phone )?number|reveal (?:phone )?number|make (?:an )?offer|help|about(?: us)?|careers|terms"
    r"(?: (?:and|&) conditions)?|privacy(?: policy)?|cookie policy|site ?map|follow us|download (?:the|our) app|"
    r"(?:photo|image|picture|\d{1,3}) ?(?:of|/) ?\d{1,3}|skip to (?:main )?content|follow|send)",
    re.IGNORECASE,
)
CRUMBS = re.compile(r"[^\n]{1,40}(?: ?[›»>|·/] ?[^\n›»>|·/]{1,40}){2,8}")
NOTICE = re.compile(
    r"(?=.{0,400}\bcookies?\b).{0,400}\b(?:partners?|consent|accept|store|browser|experience|preferences|personali[sz]e)\b|"
    r".{0,20}\b(?:we|site|board|page)\b.{0,30}\b(?:use|uses|keeps?|sets?|stores?) .{0,20}\bcookies?\b|"
    r"(?:similar|related|popular) searches: |safety (?:tips|advice): |"
    r"(?:©|\(c\)|copyright) ?\d{4}\b|all rights reserved",
    re.IGNORECASE,
)
PRINTED = re.compile(  # what a browser prints above and below each page
    r"(?:\d{1,2}[/.]\d{1,2}[/.]\d{2,4}|\d{4}-\d\d-\d\d),? \d{1,2}:\d\d(?: ?[AP]M)?(?: .{0,200})?|"
    r"(?:https?|file)://\S{1,500}(?: \d{1,3}/\d{1,3})?|\d{1,3}/\d{1,3}",
    re.IGNORECASE,
)
NAVIGATION = re.compile(
    r"(?:home|search|log ?in|sign in|menu|sell|buy|cars|vans|campers|parts|classifieds|adverts|ads)\b", re.IGNORECASE
)


def without_rubble(text: str, printed: bool = False) -> str:
    """The text without such lines, or the whole text where they are nearly all of it.

    `printed`: a browser printed it, with its own lines above and below each page.
    """
    lines = text.split("\n")
    kept: list[str] = []
    strip = False  # inside other adverts, under their heading
    for line in lines:
        bare = " ".join(line.split())
        if strip:
            strip = len(bare.split()) < PROSE_WORDS
        if not strip and kept and len(bare) <= LONGEST_HEADING and _heads_a_strip(bare):
            strip = True
        if not strip and not (_is_rubble(bare) or (printed and PRINTED.fullmatch(bare))):
            kept.append(line)
    left = "\n".join(kept).strip()
    words = len(left.split())
    return left if words >= FEWEST_WORDS and words >= LEAST_SHARE * len(text.split()) else text


def _heads_a_strip(line: str) -> bool:
    """A heading, not a sentence: "Similar vehicles", not "Similar ones go for more."."""
    return bool(STRIP.match(line)) and not line.endswith((".", ",", ";", "!"))


def _is_rubble(line: str) -> bool:
    if not line or len(line) > 600:
        return False
    if BUTTONS.fullmatch(line) or NOTICE.match(line):
        return True
    return len(line) < 200 and NAVIGATION.match(line) is not None and CRUMBS.fullmatch(line) is not None
