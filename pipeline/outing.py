"""A day or a weekend of viewings: where vehicles stand, when they can be seen, the plan in words and as JSON."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from pipeline.errors import UsageError
from pipeline.paths import data_folder
from pipeline.places import PlaceError, find_place, gazetteer, miles_between, name_key
from pipeline.planning import Candidate, Outing, Plan, Terms, Tour, Window, plan_days
from pipeline.ranking import going_without, viewing_outcomes
from pipeline.refs import find_vehicle
from pipeline.schemas.decision import DecisionRules, load_decision
from pipeline.schemas.planning import DayRules, load_day_rules
from pipeline.types import Buyer, ReportView, VehicleView

Point = tuple[float, float]  # degrees north and east
_TIMES = re.compile(r"(?:([12])/)?(\d{1,2}):(\d{2})(?:-(\d{1,2}):(\d{2}))?")


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the buyer asks of the plan. `places`: ref -> where it stands, where the buyer says so."""

    refs: tuple[str, ...] = ()  # these alone; none: all whose verdict is travel
    also_ring: bool = False
    appointments: Mapping[str, Window] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=dict)
    start: float | None = None  # earliest time of leaving, hours of the clock
    hours: float | None = None
    days: int = 1


@dataclass(frozen=True, slots=True)
class Outings:
    """A plan of a search's vehicles, with what had to be left open. `asks`: ref -> what the buyer must say."""

    plan: Plan
    vehicles: tuple[VehicleView, ...]  # as the plan counts them
    places: tuple[str, ...]
    from_home: tuple[float, ...]  # road miles
    between: tuple[tuple[float, ...], ...]
    asks: Mapping[str, str]
    home: str
    currency: str


def appointment(words: str) -> Window:
    """ "10:30", "10:30-12:00", "2/10:30" (on the second day). Raises UsageError for anything else."""
    match = _TIMES.fullmatch(words.strip())
    times = [_clock(match[2], match[3]), _clock(match[4] or match[2], match[5] or match[3])] if match else [None]
    first, last = times[0], times[-1]
    if match is None or first is None or last is None or last < first:
        raise UsageError(f"{words!r} is no time", remedy="Write 10:30, 10:30-12:00, or 2/10:30 for the second day.")
    return Window(int(match[1] or 1) - 1, first, last)


def clock_hours(words: str) -> float:
    """Hours of the clock of "08:30". Raises UsageError."""
    match = re.fullmatch(r"(\d{1,2}):(\d{2})", words.strip())
    hours = _clock(match[1], match[2]) if match else None
    if hours is None:
        raise UsageError(f"{words!r} is no time of the day", remedy="Write it like 08:30.")
    return hours


def _clock(hours: str, minutes: str) -> float | None:
    return int(hours) + int(minutes) / 60 if int(hours) < 24 and int(minutes) < 60 else None


def planned(
    bring: Callable[[], ReportView],
    refs: Sequence[str] = (),
    at: Sequence[str] = (),
    place: Sequence[str] = (),
    leave: str | None = None,
    hours: float | None = None,
    days: int = 1,
    also_ring: bool = False,
    ask: Callable[[str], str] | None = None,
) -> Outings:
    """The plan for the words of the command line, which are checked before the search is brought up to date.

    `ask`: puts a question to the buyer, None when nobody is there. Raises UsageError, PlaceError.
    """
    start = None if leave is None else clock_hours(leave)
    times = [(ref, appointment(words)) for ref, words in map(_halves, at)]
    late = [ref for ref, window in times if window.day >= days]
    if late:
        raise UsageError(f"the appointment with {late[0]} is on a second day", remedy="Plan two days: --days 2.")
    said = [_halves(words) for words in place]
    rules = data_folder("rules")
    decision, day = load_decision(rules), load_day_rules(rules)
    view = bring()

    def number(ref: str) -> str:
        return find_vehicle(view.vehicles, ref).ref

    wishes = Wishes(
        refs=tuple(number(ref) for ref in refs),
        also_ring=also_ring,
        appointments={number(ref): window for ref, window in times},
        places={number(ref): words for ref, words in said},
        start=start,
        hours=hours,
        days=days,
    )
    found = outings(view, wishes, decision, day)
    if ask is None or not found.asks:
        return found
    answers = {ref: ask(f"{ref}: {why}. Where does it stand (empty: leave it so)?") for ref, why in found.asks.items()}
    places = {**wishes.places, **{ref: words for ref, words in answers.items() if words.strip()}}
    return outings(view, replace(wishes, places=places), decision, day)


def _halves(word: str) -> tuple[str, str]:
    ref, _, value = word.partition("=")
    if not ref.strip() or not value.strip():
        raise UsageError(f"{word!r} does not name a vehicle and a value", remedy="Write it like 7=10:30 or 7=Ilkley.")
    return ref.strip(), value.strip()


def outings(view: ReportView, wishes: Wishes, decision: DecisionRules, rules: DayRules) -> Outings:
    """The plan of days. Raises PlaceError when home cannot be found, UsageError for wishes that do not fit."""
    buyer, visit = view.buyer, decision.decision.visit
    appointments = wishes.appointments
    countries = tuple(rules.countries.get(buyer.region, ("GB",)))
    home = find_place(buyer.home, countries)
    here = (home.latitude, home.longitude)
    asks: dict[str, str] = {}
    chosen: list[tuple[VehicleView, float, Point | None, str]] = []
    for vehicle in _wanted(view.vehicles, wishes, appointments):
        given = wishes.places.get(vehicle.ref)
        spot, miles, ask = _stands(vehicle, given, here, countries, visit.road_over_straight, rules.same_place)
        if ask:
            asks[vehicle.ref] = ask
        if miles is None:
            continue
        if vehicle.ranked.visit_worth is None:
            asks[vehicle.ref] = "it could not be valued, so that a visit to it cannot be weighed against others"
            continue
        chosen.append((vehicle, miles, spot, given or vehicle.prospect.place or ""))
    lost = [ref for ref in appointments if ref not in {v.ref for v, *_ in chosen}]
    if lost:
        why = asks.get(lost[0], "it is not in the search")
        raise UsageError(f"the appointment with {lost[0]} cannot be planned for: {why}")
    outside = going_without([v.prospect for v in view.vehicles], buyer, decision)
    candidates = [_candidate(v, miles, appointments.get(v.ref), buyer, decision) for v, miles, *_ in chosen]
    between = _between([(miles, spot) for _, miles, spot, _ in chosen], visit.road_over_straight)
    terms = Terms(
        start=clock_hours(rules.start) if wishes.start is None else wishes.start,
        hours=rules.hours if wishes.hours is None else wishes.hours,
        hours_there=visit.hours_there,
        speed_mph=visit.speed_mph,
        cost_per_mile=buyer.travel_cost_per_mile,
        cost_per_hour=buyer.time_value_per_hour,
        fee=visit.fee,
        outside=outside,
    )
    plan = plan_days(candidates, between, terms, wishes.days)
    return Outings(
        plan,
        tuple(v for v, *_ in chosen),
        tuple(place for *_, place in chosen),
        tuple(miles for _, miles, *_ in chosen),
        tuple(tuple(float(x) for x in row) for row in between),
        asks,
        buyer.home,
        buyer.currency,
    )


def _wanted(vehicles: Sequence[VehicleView], wishes: Wishes, appointments: Mapping[str, Window]) -> list[VehicleView]:
    if wishes.refs:
        return [v for v in vehicles if v.ref in wishes.refs or v.ref in appointments]
    verdicts = ("travel", "ring first") if wishes.also_ring else ("travel",)
    return [v for v in vehicles if (v.ranked.verdict in verdicts and not v.gone) or v.ref in appointments]


def _candidate(
    vehicle: VehicleView, miles: float, window: Window | None, buyer: Buyer, decision: DecisionRules
) -> Candidate:
    outcomes = viewing_outcomes(vehicle.prospect, buyer, decision)
    assert outcomes is not None and vehicle.ranked.visit_worth is not None
    return Candidate(vehicle.ref, miles, outcomes, vehicle.ranked.visit_worth, window)


def _stands(
    vehicle: VehicleView, given: str | None, home: Point, countries: tuple[str, ...], road: float, same: float
) -> tuple[Point | None, float | None, str]:
    """Where a vehicle stands, its road miles from home, and what to ask the buyer ("" when all is clear).

    A place name that stands for several is settled by the advert's distance where exactly one agrees with it; without
    a point the way to it is reckoned through home.
    """
    prospect = vehicle.prospect
    miles, name = prospect.distance_miles, given or prospect.place
    if name is None:
        return None, miles, "" if miles is not None else "the advert does not say where it stands"
    found = gazetteer(countries).get(name_key(name), ())
    if given is None and miles is not None and found:
        points = [(p.latitude, p.longitude) for p in found]
        agree = [p for p in points if abs(road * miles_between(home, p) - miles) <= same * max(miles, 15.0)]
        if len(agree) == 1:
            return agree[0], miles, ""
        several = "is several places as far away as the advert says" if agree else "is not as far away as it says"
        return None, miles, f"{name!r} {several}; it is reckoned with through home"
    try:
        place = find_place(name, countries)
    except PlaceError as error:
        return None, miles, error.what + ("; it is reckoned with through home" if miles is not None else "")
    point = (place.latitude, place.longitude)
    return point, road * miles_between(home, point), ""


def _between(spots: Sequence[tuple[float, Point | None]], road: float) -> np.ndarray:
    """Road miles between any two; by way of home where a point is not known."""
    count = len(spots)
    miles = np.zeros((count, count))
    for i, (from_home, a) in enumerate(spots):
        for j, (other, b) in enumerate(spots[:i]):
            through = from_home + other
            straight = road * miles_between(a, b) if a is not None and b is not None else through
            miles[i, j] = miles[j, i] = min(straight, through)
    return miles


# ---- what is shown ------------------------------------------------------------


def outings_json(found: Outings) -> dict[str, Any]:
    """The plan for machines; amounts in the buyer's currency, times of the clock as HH:MM."""
    plan = found.plan
    return {
        "home": found.home,
        "currency": found.currency,
        "days": [_day_json(tour, found) for tour in plan.best.days if tour.order],
        "gain": round(plan.best.gain, 2),
        "stop_at": None if plan.best.stop_at is None else round(plan.best.stop_at, 2),
        "index_order": {
            "days": [[found.vehicles[i].ref for i in tour.order] for tour in plan.by_index.days],
            "gain": round(plan.by_index.gain, 2),
        },
        "gain_over_index_order": round(plan.best.gain - plan.by_index.gain, 2),
        "considered": [vehicle.ref for vehicle in found.vehicles],
        "every_plan_weighed": plan.proved,
        "asks": dict(found.asks),
    }


def _day_json(tour: Tour, found: Outings) -> dict[str, Any]:
    return {
        "leave": _time(tour.leave),
        "viewings": [
            {
                "ref": found.vehicles[i].ref,
                "title": found.vehicles[i].title,
                "place": found.places[i] or None,
                "begins": _time(begins),
                "walk_away": found.vehicles[i].ranked.walk_away,
            }
            for i, begins in zip(tour.order, tour.begins, strict=True)
        ],
        "back": _time(tour.back),
        "miles": round(tour.miles, 1),
        "cost": round(tour.cost, 2),
    }


def outings_lines(found: Outings) -> list[str]:
    """The plan for a person."""
    plan, c = found.plan, found.currency
    lines: list[str] = []
    days = [tour for tour in plan.best.days if tour.order]
    for n, tour in enumerate(days, 1):
        lines += [f"{f'day {n}: ' if len(days) > 1 else ''}leave {found.home} at {_time(tour.leave)}"]
        last: int | None = None
        for i, begins in zip(tour.order, tour.begins, strict=True):
            vehicle = found.vehicles[i]
            hop = found.from_home[i] if last is None else found.between[last][i]
            walk = vehicle.ranked.walk_away
            most = f"; walk away above {c} {walk:,.0f}" if walk is not None else ""
            ring = "; ring first" if vehicle.ranked.verdict == "ring first" else ""
            place = found.places[i] or "place not named"
            lines.append(f"  {_time(begins)}  {vehicle.ref}  {vehicle.title}: {place}, {hop:.0f} miles{most}{ring}")
            last = i
        spent = tour.back - tour.leave
        lines.append(f"  back at {_time(tour.back)}: {tour.miles:.0f} miles, {spent:.1f} hours, {c} {tour.cost:,.0f}")
    if not days:
        lines.append("No viewing is worth its journey: stay at home, or ring first those that ask for it.")
    else:
        lines += ["", *_weighed(plan, c)]
    if found.asks:
        lines += ["", 'say where it stands (--place REF=PLACE, or REF="latitude, longitude")']
        lines += [f"  - {ref}: {ask}" for ref, ask in found.asks.items()]
    return lines


def _weighed(plan: Plan, c: str) -> list[str]:
    lines = [f"expected to leave you {c} {plan.best.gain:,.0f} better off than going without, the journey paid"]
    more = plan.best.gain - plan.by_index.gain
    down = _count(plan.by_index)
    if more >= 1:
        lines.append(f"down the ranking as far as the time allows ({down}) it would be {c} {more:,.0f} less")
    else:
        lines.append("down the ranking as far as the time allows comes to the same")
    if plan.best.stop_at is not None:
        lines.append(
            f"stay at home on the second day once the first found a surplus above {c} {plan.best.stop_at:,.0f}"
        )
    if plan.proved:
        lines.append(f"every choice and order of the {plan.considered} considered was weighed")
    else:
        lines.append(f"the best found of {plan.considered} considered; not every choice was weighed")
    return lines


def _count(outing: Outing) -> str:
    count = sum(len(tour.order) for tour in outing.days)
    return f"{count} viewing" + ("s" if count != 1 else "")


def _time(hours: float) -> str:
    minutes = round(hours * 60)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
