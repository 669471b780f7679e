"""A labelled set: adverts of invented vehicles, many of them advertised twice, many that only look alike.

Every advert names its vehicle; two adverts are of one vehicle exactly when the names are equal. The first adverts are
the corpus's; `REWRITTEN` was written by hand, as a seller writes the second time; the rest is edited by rule, as
sellers and sites do it. The rules' numbers were set on seeds 1 to 3 and 11 to 14; the test measures others.
"""

from __future__ import annotations

import json
import random
import re
from dataclasses import dataclass
from pathlib import Path

CORPUS = Path(__file__).resolve().parents[2] / "models" / "claim_status" / "corpus"
FEWEST_WORDS = 45


@dataclass(frozen=True)
class Labelled:
    advert_id: str
    vehicle: str
    text: str


NOTES = [
    "Still for sale due to a time waster.",
    "No text messages please, a proper telephone call after six.",
    "Open to sensible offers at the kerb, not by message.",
    "Now with a fresh test and two new wipers.",
    "Selling because a bigger one has come along.",
    "Can be seen any evening this week.",
]
HEADS = ["STILL HERE - ", "Reduced! ", "Price drop: ", "Relisted. ", "Re-advertised, buyer let me down. ", ""]
SHORT = [
    ("miles", "mls"), ("service history", "s/h"), ("petrol", "pet"), ("manual", "man"), ("owners", "keepers"),
    (" and ", " & "), ("years", "yrs"), ("excellent", "exc"), ("condition", "cond"), ("months", "mths"),
]  # fmt: skip
DEALERS = {
    "Tarnside": (
        "Tarnside Motors has been a family firm since 1968. All our vehicles are serviced before sale, come with three "
        "months of our own warranty and a full valet, and are checked for outstanding finance. Part "
        "exchange is welcome, "
        "and cards are taken. We are open six days a week and on Sundays by appointment; please ring "
        "before you travel, "
        "as our vehicles are kept at two sites. Every effort is made to describe our stock well, but please check with "
        "the sales team anything that matters to you."
    ),
    "Wharfe": (
        "WHARFE VAN CENTRE * no fees * nationwide delivery at cost * finance arranged subject to "
        "status * twelve months "
        "test with every sale * buy with confidence, hundreds of happy customers * open Monday to "
        "Saturday nine to five * "
        "we buy vans for cash * call in for a coffee and a look round, the dog does not bite"
    ),
    "Moss": (
        "Sold by Moss Lane Garage. Viewing is strictly by appointment. Deposits are taken on debit cards. Delivery can "
        "be arranged anywhere on the mainland. Trade terms: those marked trade are sold as seen and without warranty. "
        "Errors and omissions excepted."
    ),
}
MODELS = ["Fenwright Curlew", "Marrick Dale", "Arkell Linnet", "Hollin Drover"]
REWRITTEN = [
    (
        "1996 Curlew Estuary, 2.1 turbo diesel, five speed, 104,300 miles. Chains and tensioner at 98k by the man in "
        "Otley, invoice here. The nearside rear arch was let in by a friend who welds ships. Fridge does, grill does, "
        "heater sulks. Two keys, MOT to June. £5,400, Keighley.",
        "Camper for sale Keighley. It's our Estuary, the 2.1 turbo, 1996, showing 104,450 now. Chains and tensioner at "
        "98k by the man in Otley and I have his invoice. A friend who welds ships let in the "
        "nearside rear arch. Fridge "
        "and grill work, heater sulks. Tested to June, two keys. £4,950.",
    ),
    (
        "Drover 110, 1989, 2.5 NA diesel, 121k, galvanised bulkhead fitted in 2017, rear crossmember is original and "
        "showing its age. Overdrive whines in third. Tax exempt in three years. £6,800 Alston.",
        "£6,500 now. Alston. 1989 Drover one-ten with the plain 2.5 diesel, 121 thousand. Galvanised "
        "bulkhead fitted in "
        "2017. The rear crossmember is original and showing its age so price accordingly. Overdrive whines in third.",
    ),
    (
        "My late husband's Linnet 1.4, 2005, 41,870 miles, serviced every September at Ridley's, "
        "scrape on the nearside "
        "rear door from the gatepost, two keys, kept under a cloth in the garage at Louth. £1,650.",
        "LINNET 1.4 PETROL 2005. 41,870 MILES ONLY. KEPT UNDER A CLOTH IN THE GARAGE AT LOUTH, "
        "SERVICED EVERY SEPTEMBER "
        "AT RIDLEY'S. SCRAPE ON NEARSIDE REAR DOOR FROM THE GATEPOST. TWO KEYS. £1,495 ONO.",
    ),
    (
        "Marrick Dale high top, 1993, 2.4 diesel, 88,000, ex church minibus so the rear is plain, seats come with it. "
        "Sills plated last winter, photographs of the work. Starts on the button. Tyres perish. £2,900 Penrith",
        "For sale in Penrith: ex church minibus, a 1993 Marrick Dale high top 2.4 diesel, 88k. The rear is plain but "
        "the seats come with it. Sills plated last winter (photographs of the work). Starts on the "
        "button, tyres perish.",
    ),
    (
        "Curlew Shingle, N reg, 2.5 TD auto, blue over grey, 133,200. Gearbox flushed at 120k by Brough Autos. Awning "
        "torn at one corner. Leisure battery new in May. Bit of rust starting at the windscreen corner. £4,100.",
        "Blue over grey Shingle automatic, the 2.5 TD, N plate. 133k on it. Brough Autos flushed the box at 120k. New "
        "leisure battery in May. There is a bit of rust starting at the windscreen corner and the "
        "awning is torn at one "
        "corner. £3,950",
    ),
    (
        "2001 Linnet estate 1.6, 97,600 miles, cambelt at 82k with water pump, clutch at 90k, aircon cold, cracked "
        "offside fog lamp, dog hair everywhere and I'm sorry about that. £1,150 Selby.",
        "Estate, Linnet 1.6, '01. I'm sorry about the dog hair, it is everywhere. Cambelt at 82k with the water pump, "
        "clutch at 90k, cold aircon. Offside fog lamp cracked. 97,900 miles. £995 Selby",
    ),
]  # fmt: skip


def labelled(seed: int, vehicles: int = 110) -> list[Labelled]:
    """The set: about 270 adverts, at least 150 pairs of one vehicle, in mixed order."""
    rng = random.Random(seed)
    found: list[Labelled] = []

    def put(vehicle: str, text: str) -> None:
        found.append(Labelled(f"{vehicle}/{sum(one.vehicle == vehicle for one in found)}", vehicle, text))

    for n, (first, second) in enumerate(REWRITTEN):
        put(f"rewritten-{n}", first)
        put(f"rewritten-{n}", second)
    base = _adverts(rng)
    for n, text in enumerate(base[:vehicles]):
        put(f"private-{n}", text)
        put(f"private-{n}", _again(text, rng))
        if n % 8 == 0:
            put(f"private-{n}", _again(text, rng))
    clocked = [text for text in base[:vehicles] if CLOCK.search(text) and not PLATE.search(text)]
    for n, text in enumerate(clocked[:30]):  # a copied advert: the words of one, the facts of another vehicle
        put(f"copied-{n}", _other_facts(text, rng))
    for n, text in enumerate(base[vehicles : vehicles + 60]):
        put(f"alone-{n}", text)
    for dealer, words in DEALERS.items():
        for n in range(9):
            text = _stock(rng, n)
            put(f"{dealer}-{n}", f"{text}\n{words}")
            if n % 3 == 0:
                put(f"{dealer}-{n}", f"{_repriced(text, rng)}\n{words}")
    for n in range(6):  # a fleet: one text for all, and only the clocks differ
        put(f"fleet-{n}", FLEET.format(miles=f"{96_000 + 3_700 * n:,}", plate=f"N{311 + n}KWF"))
    rng.shuffle(found)
    return found


CLOCK = re.compile(r"\b(\d{2,3})(,\d{3})(?= ?(?:mi|km))")
PLATE = re.compile(r"\b(?:[A-Z]{1,2}\d{1,3} ?[A-Z]{3}|[A-Z]{3} ?\d{1,3}[A-Z]?|\d{2,3}-[A-Z]{1,2}-\d{1,6})\b")
FLEET = (
    "Choice of six ex water board vans, 1996 Hollin Drover 2.5 diesel, all serviced in our own workshops every 6,000 "
    "miles, all with tow bar, ladder rack and bulkhead. This one {miles} miles, {plate}. All have the usual scrapes. "
    "£2,250 plus VAT each, collection from the depot in Driffield on weekdays."
)


def _adverts(rng: random.Random) -> list[str]:
    rows = [json.loads(line) for part in "abcdef" for line in (CORPUS / f"{part}.jsonl").open(encoding="utf-8")]
    texts = sorted(row["text"] for row in rows if len(row["text"].split()) >= FEWEST_WORDS)
    rng.shuffle(texts)
    return texts


def _again(text: str, rng: random.Random) -> str:
    """The same vehicle advertised again: two to four things that sellers and sites do to an advert."""
    steps = rng.sample([_repriced, _headed, _fewer, _shuffled, _shouted, _mistyped, _cut, _shortened, _added], 3)
    for step in steps:
        text = step(text, rng)
    return text


def _sentences(text: str) -> list[str]:
    return [part for part in re.split(r"(?<=[.!?])\s+|\n+", text) if part.strip()]


def _repriced(text: str, rng: random.Random) -> str:
    return re.sub(r"£ ?(\d[\d,]*)", lambda m: f"£{int(int(m[1].replace(',', '')) * rng.uniform(0.85, 0.97)):,}", text)


def _headed(text: str, rng: random.Random) -> str:
    return rng.choice(HEADS) + text


def _fewer(text: str, rng: random.Random) -> str:
    parts = _sentences(text)
    gone = set(rng.sample(range(len(parts)), k=len(parts) // 4))
    return " ".join(part for n, part in enumerate(parts) if n not in gone)


def _shuffled(text: str, rng: random.Random) -> str:
    parts = _sentences(text)
    rng.shuffle(parts)
    return " ".join(parts)


def _shouted(text: str, rng: random.Random) -> str:
    return text.upper() if rng.random() < 0.5 else text.lower()


def _mistyped(text: str, rng: random.Random) -> str:
    words = text.split(" ")
    for n in rng.sample(range(len(words)), k=max(1, len(words) // 25)):
        if len(words[n]) > 3 and words[n].isalpha():
            at = rng.randrange(len(words[n]) - 1)
            words[n] = words[n][:at] + words[n][at + 1] + words[n][at] + words[n][at + 2 :]
    return " ".join(words)


def _cut(text: str, rng: random.Random) -> str:
    words = text.split(" ")
    return " ".join(words[: int(len(words) * rng.uniform(0.6, 0.9))]) + "... read more"


def _shortened(text: str, rng: random.Random) -> str:
    for long, short in rng.sample(SHORT, 4):
        text = text.replace(long, short)
    return text


def _added(text: str, rng: random.Random) -> str:
    return f"{text} {' '.join(rng.sample(NOTES, 2))}"


def _other_facts(text: str, rng: random.Random) -> str:
    """Copied from another's advert: years moved by some, every mileage another."""
    moved, moves = rng.choice([-6, -4, -3, 3, 4, 5]), [-17, -9, 11, 23]
    text = re.sub(r"\b(19[6-9]\d|200\d)\b", lambda m: str(int(m[1]) + moved), text)
    text = CLOCK.sub(lambda m: f"{max(int(m[1]) + rng.choice(moves), 12)}{m[2]}", text)
    return re.sub(r"\b(\d{2,3})(k)\b", lambda m: f"{max(int(m[1]) + rng.choice(moves), 12)}k", text)


def _stock(rng: random.Random, n: int) -> str:
    """A dealer's own few words: often the year or the mileage is left out."""
    extras = rng.sample(["tow bar", "side windows", "ply lined", "roof bars", "one key", "new clutch", "three seats",
                         "night heater", "full history", "alloy wheels", "tailgate", "rear camera"], 4)  # fmt: skip
    year = f"{rng.randint(1988, 2006)} " if n % 3 != 1 else ""
    miles = f"{rng.randint(45, 190)},{rng.randint(100, 999)} miles, " if n % 3 != 2 else ""
    engine = rng.choice(["2.0 petrol", "2.4 diesel", "2.5 TD"])
    return f"{year}{rng.choice(MODELS)} {engine}, {miles}{', '.join(extras)}. £{rng.randint(18, 89)}95."
