"""Where a vehicle would stand if its repair cost were another."""

from pipeline.standing import places_if
from pipeline.types import Ranked, Sensitive, Spread


def row(ref: str, verdict: str, worth: float | None) -> Ranked:
    cost = Spread(1000.0, 0.0, 900.0, 2000.0)
    return Ranked(ref, verdict, worth, 50.0, None, None, cost, None, (), (), ())  # type: ignore[arg-type]


ROWS = [row("a", "travel", 900), row("b", "ring first", 800), row("c", "ring first", 500), row("d", "leave", None)]


def number(low: float, high: float) -> Sensitive:
    return Sensitive("wear", "rules/x.yaml, y", "judgement", 1.5, low, high)


def test_a_dearer_vehicle_falls_and_a_cheaper_one_rises_among_its_own_verdict() -> None:
    assert places_if(ROWS, ROWS[1], [number(900, 1200), number(1000, 1400)]) == ((2, 2), (2, 3))
    assert places_if(ROWS, ROWS[2], [number(600, 1100)]) == ((2, 3),)


def test_what_is_not_ranked_by_worth_has_no_places() -> None:
    assert places_if(ROWS, ROWS[3], [number(900, 1200)]) == ()
