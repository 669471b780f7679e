"""Where a vehicle would stand if its repair cost were another."""

import random

from pipeline.standing import Standing
from pipeline.types import Ranked, Sensitive, Spread


def row(ref: str, verdict: str, worth: float | None) -> Ranked:
    cost = Spread(1000.0, 0.0, 900.0, 2000.0)
    return Ranked(ref, verdict, worth, 50.0, None, None, cost, None, (), (), ())  # type: ignore[arg-type]


ROWS = [row("a", "travel", 900), row("b", "ring first", 800), row("c", "ring first", 500), row("d", "leave", None)]


def number(low: float, high: float) -> Sensitive:
    return Sensitive("wear", "rules/x.yaml, y", "judgement", 1.5, low, high)


def test_a_dearer_vehicle_falls_and_a_cheaper_one_rises_among_its_own_verdict() -> None:
    assert Standing(ROWS).places_if(ROWS[1], [number(900, 1200), number(1000, 1400)]) == ((2, 2), (2, 3))
    assert Standing(ROWS).places_if(ROWS[2], [number(600, 1100)]) == ((2, 3),)


def test_what_is_not_ranked_by_worth_has_no_places() -> None:
    assert Standing(ROWS).places_if(ROWS[3], [number(900, 1200)]) == ()


def test_a_place_is_one_more_than_those_that_are_worth_more() -> None:
    rng = random.Random(4)
    worths = sorted((rng.randrange(60) * 10.0 for _ in range(200)), reverse=True)  # many are equal
    rows = [row(str(n), "travel" if n < 50 else "ring first", worth) for n, worth in enumerate(worths)]
    told = 0
    for one in rows:
        asked = [number(1000 + rng.randrange(-300, 300), 1000 + rng.randrange(-300, 300)) for _ in range(3)]
        places = Standing(rows).places_if(one, asked)
        told += bool(places)
        first = 0 if one.verdict == "travel" else 50
        for (low, high), new in zip(places, asked, strict=False):
            for place, cost in ((low, new.low), (high, new.high)):
                worth = (one.visit_worth or 0) - (cost - 1000)
                others = [r for r in rows if r.verdict == one.verdict and r is not one]
                assert place == first + 1 + sum((r.visit_worth or 0) > worth for r in others)
    assert told > 40
