"""Invented report views: eight vehicles written by hand, and as many copies as a test wants."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np

from pipeline.types import (
    AdvertView,
    Buyer,
    Claim,
    Evidence,
    Fact,
    Flag,
    Grade,
    ItemBelief,
    Member,
    MemberView,
    PricePoint,
    Prospect,
    Question,
    Ranked,
    Reading,
    Reason,
    Refusal,
    RepairEstimate,
    ReportView,
    Spread,
    Status,
    Valuation,
    VehicleView,
    Verdict,
)

AS_OF = date(2026, 10, 31)
NAMES = {
    "sills": "sills and jacking points",
    "timing_belt": "timing belt or chain",
    "cooling": "coolant, overheating, radiator",
    "head_gasket": "head gasket, cylinder head",
    "rust_general": "rust, place not named",
    "chassis": "chassis rails, subframe, outriggers",
    "clutch": "clutch and flywheel",
    "brakes": "brakes",
    "floors": "floors and footwells",
    "water_ingress": "leaks into the cabin, damp",
    "gearbox": "gearbox and its fluid",
    "documents": "papers and keys",
}
BUYER = Buyer(
    home="Hexham",
    purpose="everyday",
    currency="GBP",
    region="uk",
    labour_rate=62,
    travel_cost_per_mile=0.45,
    time_value_per_hour=12,
    budget_total=7000,
    search_name="Corrie vans, autumn 2026",
    must={"fuel": ("diesel",)},
)
Said = tuple[str, Status, Grade, str]


def claim(text: str, subject: str, status: Status, grade: Grade, quote: str) -> Claim:
    """A claim on the first place where its quote stands."""
    at = text.index(quote)
    return Claim(subject, status, grade, quote, at, at + len(quote), f"subjects.{subject}.{status}")


def fact(text: str, key: str, value: object, quote: str) -> Fact:
    """A fact on the first place where its quote stands."""
    at = text.index(quote)
    return Fact(key, value, quote, at, at + len(quote), f"facts.{key}")


def item(name: str, group: str, minor: float, major: float, cost: float, *, admitted: bool = False) -> ItemBelief:
    """Belief in one item, with a reason."""
    code = name.replace(" ", "_")
    return ItemBelief(
        code,
        name,
        group,
        "service" if group == "service" else "fault",
        1 - minor - major,
        minor,
        major,
        cost,
        admitted,
        (code,),
        0.7,
        (Reason(f"The advert says nothing of the {name}", f"reports.{code}"),),
    )


ITEMS = (
    item("sills and jacking points", "structure", 0.31, 0.24, 612),
    item("timing belt overdue", "service", 0.0, 0.58, 398),
    item("head gasket", "engine", 0.05, 0.11, 214),
    item("clutch", "drivetrain", 0.2, 0.18, 161),
    item("brake pipes", "brakes", 0.34, 0.08, 118),
    item("tyres", "wheels", 0.4, 0.2, 166, admitted=True),
    item("radiator", "cooling", 0.22, 0.06, 61),
    item("wheel bearing", "running gear", 0.1, 0.05, 38),
    item("alternator", "electrics", 0.12, 0.03, 29),
    item("heater blower", "electrics", 0.09, 0.0, 9),
)


def vehicle(
    number: int,
    title: str,
    verdict: Verdict,
    text: str,
    said: tuple[Said, ...] = (),
    facts: tuple[tuple[str, object, str], ...] = (),
    *,
    price: float | None = 4200,
    value: float | None = 5600,
    repair: float = 1500,
    distance: float | None = 40,
    place: str | None = "Settle",
    flags: tuple[Flag, ...] = (),
    prices: tuple[PricePoint, ...] = (),
    reasons: tuple[Reason, ...] = (),
    refused_price: str | None = None,
    gone: bool = False,
) -> VehicleView:
    """One vehicle; figures are spread about the given means."""
    ref = f"corrie-{number:03d}"
    share = repair / sum(i.expected_cost for i in ITEMS)
    items = tuple(replace(i, expected_cost=i.expected_cost * share) for i in ITEMS)
    draws = np.random.default_rng(number).gamma(2.0, repair / 2.0, 400)
    estimate = RepairEstimate(
        ref,
        items,
        (draws[:, None] / len(items)).repeat(len(items), axis=1).astype(np.float32),
        {"care": {"good": 0.22, "average": 0.51, "poor": 0.27}, "hard_use": {"no": 0.9, "yes": 0.1}},
        repair * 0.12,
        repair * 0.88,
        (Reason("Labour at £62 an hour, from your own file", "buyer.labour_rate"),),
    )
    cost = Spread.of(draws)
    known = value is not None and price is not None
    sound = Spread(value, value * 0.84, value * 0.99, value * 1.18) if value is not None else None
    paid = price * 0.95 if price is not None else None
    surplus = Spread.of(value - paid - draws) if value is not None and paid is not None else None
    reading = Reading(
        (*(fact(text, *f) for f in facts), Fact("mileage_unit", "mi", "", -1, -1, "region.uk", origin="region")),
        tuple(claim(text, *c) for c in said),
        (Fact("year", [2009], "", -1, -1, "schema.org vehicleModelDate", 0.4, "schema.org vehicleModelDate"),)
        if number == 1
        else (),
    )
    valuation = Valuation(
        ref,
        value,
        value * 0.84 if value else None,
        value,
        value * 1.18 if value else None,
        None,
        None,
        "pool" if value else "none",
        41 if value else 0,
        (Reason("Two summers younger than the middle of the pool: £310 more", "valuation.vintage"),)
        if value
        else (Reason("No price, year or mileage is stated, and there is no guide price to fall back on", "valuation"),),
    )
    silent = ("chassis", "brakes", "gearbox", "documents")
    return VehicleView(
        ref,
        title,
        Ranked(
            ref,
            verdict,
            310.0 - 45 * number if known else None,
            38.0,
            surplus,
            sound,
            cost,
            paid,
            flags,
            reasons or (Reason("Surplus is likely and most of the doubt can be seen on a visit", "ranking.visit"),),
            (
                Question("When was the timing belt last changed? Is there a bill?", ("timing_belt",), 118.0, "q.belt"),
                Question("Have the sills been welded, and did anybody photograph it?", ("sills",), 74.0, "q.sills"),
            ),
            walk_away=price * 1.05 if price else None,
            changes=("A bill for the belt would add about £380 to the surplus",),
        ),
        Prospect(
            ref,
            (f"advert-{number}",),
            title,
            Evidence(ref, {}, reading.claims, 29.0, 118000.0, AS_OF),
            estimate,
            valuation,
            price,
            "GBP",
            distance,
            place,
            refused_price,
        ),
        (AdvertView(f"advert-{number}", f"{number:02d}-corrie.txt", date(2026, 10, 12), text, reading),),
        prices or (PricePoint(date(2026, 10, 12), price, "GBP", "asked"),),
        silent,
        gone,
    )


HONEST = """Pennock Corrie 2.2 diesel, 1997, 118,000 miles, manual.

Had her nine years. Timing belt and water pump done at 96k, bill here. Sills are solid – I had both welded in 2021
and waxed after. No rust underneath bar a patch on the nearside rear arch, and the clutch bites high, so budget for one.
Uses no water. MOT till March.

£4,200 ono, Settle. Ring Maud after six."""
SHORT = "Corrie camper diesel 67k MOT Feb £3,950 no offers"
VAGUE = (
    "Lovely old Corrie, drives spot on!! Freshly undersealed, 12 months ticket. Had a new radiator and thermostat, "
    "still gets a bit warm on hills so maybe just needs the system bleeding. £3,400"
)
DEPOSIT = (
    "Corrie 2001 62.000 miles no rust no scratch. Van is with shipping agent, you pay £600 reservation and it is "
    "delivered to your home. Only e-mail. Price £2,100"
)


def hand_written() -> tuple[VehicleView, ...]:
    """Eight vehicles, best first: every verdict, one probably gone, one without a value."""
    deposit = Flag(
        "advance_payment",
        "Money is asked for before a viewing.",
        "Ask for an address to see the vehicle at, and send nothing. A seller who refuses is not to be visited.",
        True,
        "you pay £600 reservation",
        "flags.advance_payment",
    )
    return (
        vehicle(
            1,
            "Pennock Corrie 2.2 diesel, 1997",
            "travel",
            HONEST,
            (
                ("timing_belt", "done", "plain", "Timing belt and water pump done at 96k"),
                ("cooling", "done", "plain", "water pump done at 96k"),
                ("sills", "absent", "plain", "Sills are solid"),
                ("sills", "done", "plain", "both welded in 2021"),
                ("rust_general", "absent", "plain", "No rust underneath"),
                ("clutch", "due", "slight", "the clutch bites high, so budget for one"),
                ("cooling", "absent", "plain", "Uses no water"),
            ),
            (
                ("asking_price", 4200, "£4,200"),
                ("mileage", 118000, "118,000 miles"),
                ("year", [1997], "1997"),
                ("fuel", "diesel", "diesel"),
                ("engine_litres", 2.2, "2.2"),
            ),
            prices=(
                PricePoint(date(2026, 8, 3), 4950, "GBP", "asked"),
                PricePoint(date(2026, 9, 14), 4500, "GBP", "asked"),
                PricePoint(date(2026, 10, 12), 4200, "GBP", "asked"),
            ),
            repair=900,
        ),
        vehicle(2, "Corrie high top, 1999", "travel", HONEST, price=4900, value=6400, repair=1100, distance=61),
        vehicle(
            3,
            "Corrie camper, diesel",
            "ring first",
            SHORT,
            facts=(("asking_price", 3950, "£3,950"), ("mileage", 67000, "67k")),
            price=3950,
            value=5700,
            repair=1750,
            place="Burnley",
            reasons=(Reason("Twelve words leave the belt and the sills unknown: a call settles both", "ranking.call"),),
        ),
        vehicle(
            4,
            "Lovely old Corrie",
            "ring first",
            VAGUE,
            (
                ("cooling", "present", "slight", "still gets a bit warm on hills"),
                ("cooling", "done", "plain", "Had a new radiator and thermostat"),
                ("cooling", "possible", "plain", "maybe just needs the system bleeding"),
            ),
            price=3400,
            value=5200,
            repair=2600,
            place="Colne",
            distance=88,
        ),
        vehicle(
            5,
            "Corrie 2.0 petrol with a very long title that the seller made up himself, no offers please",
            "leave",
            SHORT,
            price=5900,
            value=5100,
            repair=1900,
            distance=133,
            place="Ripon",
        ),
        vehicle(6, "Corrie, sold it seems", "travel", SHORT, price=4400, value=5600, repair=1400, gone=True),
        vehicle(
            7,
            "Corrie 2001, silver",
            "leave",
            DEPOSIT,
            price=2100,
            value=7100,
            repair=1300,
            flags=(deposit,),
            place="Carlisle",
            reasons=(Reason("Payment before viewing", "flags.advance", "you pay £600"),),
        ),
        vehicle(
            8,
            "Corrie, offers",
            "leave",
            "Corrie. Make me an offer.",
            price=None,
            value=None,
            distance=None,
            place=None,
            refused_price="The advert states no price: offers are invited",
        ),
    )


def view(vehicles: tuple[VehicleView, ...] | None = None) -> ReportView:
    """A whole report."""
    return ReportView(
        AS_OF,
        BUYER,
        hand_written() if vehicles is None else vehicles,
        (
            Refusal("14-empty.pdf", "The file holds no text. Save the page as text or print it again.", None),
            Refusal("table.csv", "The column text is empty. Fill it in.", 7),
        ),
        (
            "Pennock Corrie 2.2 diesel, 1997: price down from £4,500 to £4,200",
            "Corrie, sold it seems: not seen for 21 days, probably gone",
        ),
        (
            Reason("Timing belt: 48,000 miles or 5 years. Source: common practice", "pack.corrie.belt"),
            Reason("Travel at £0.45 a mile. Source: published mileage allowance, 2024", "region.uk.travel"),
        ),
        ("Never go under a vehicle that stands on a jack alone.", "Pay nothing before you have seen the papers."),
        {"adverts": 9, "vehicles": 8},
        NAMES,
    )


def members() -> tuple[MemberView, ...]:
    """Two members who want the same vehicle, and one without any."""
    first, second, third = hand_written()[:3]
    maud = Member("maud", "Maud Ellery", "Four berths, please.", "Ring gently.")
    otto = Member("otto", "Otto Brandreth", "", "Owes his fee.")
    return (
        MemberView(maud, replace(view((first, second)), changes=(), refusals=())),
        MemberView(otto, replace(view((first, third)), buyer=replace(BUYER, home="Ripon", units="km"))),
        MemberView(Member("penny", "Penny Harrowgate"), view(()), ("a budget of about GBP 4,000",)),
    )


def many(count: int) -> ReportView:
    """`count` vehicles, each a full advert of about 1,500 characters."""
    first = hand_written()[0]
    vehicles = []
    for n in range(1, count + 1):
        verdict: Verdict = ("travel", "ring first", "leave")[n % 3]  # type: ignore[assignment]
        base = vehicle(n, f"{first.title} number {n}", verdict, HONEST, price=3000 + 7 * n, repair=600 + 5 * n)
        text = "\n\n".join([HONEST] * 3)
        claims = tuple(
            replace(c, start=c.start + k * (len(HONEST) + 2), end=c.end + k * (len(HONEST) + 2))
            for k in range(3)
            for c in first.texts[0].reading.claims
        )
        advert = replace(base.texts[0], text=text, reading=Reading(first.texts[0].reading.facts, claims))
        vehicles.append(replace(base, texts=(advert,), prices=first.prices))
    return view(tuple(vehicles))
