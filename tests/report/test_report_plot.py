"""Geometry of the drawings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.report.plot import Dot, axis, plot, steps, ticks

MONEY = st.floats(-1e6, 1e6)


@given(st.floats(-1e6, 1e6), st.floats(1.0, 1e6))
def test_ticks_are_round_and_inside(low: float, span: float) -> None:
    found = ticks(low, low + span)
    assert 1 <= len(found) <= 8
    assert all(low <= value <= low + span for value in found)


@given(st.lists(MONEY, min_size=1, max_size=30))
def test_axis_has_length_and_holds_most(values: list[float]) -> None:
    made = axis(values, 10, 90)
    assert made.low < made.high
    assert all(10 <= made.at(value) <= 90 for value in values)
    assert sum(made.holds(value) for value in values) >= len(values) / 2


def dot(number: int, repair: float, margin: float) -> Dot:
    return Dot(
        number,
        f"v{number}",
        f"van {number}",
        "travel",
        (repair / 2, repair, repair * 2),
        (margin - 500, margin, margin + 500),
    )


def test_a_point_far_out_is_named_and_does_not_squash_the_rest() -> None:
    made = plot([*(dot(n, 800 + 40 * n, 1500 - 30 * n) for n in range(1, 12)), dot(12, 900, 4_000_000)], "GBP")
    assert made is not None
    assert made.outside == ("van 12",)
    assert max(p.y for p in made.points) - min(p.y for p in made.points) > 40


def test_points_stand_in_order_of_their_money() -> None:
    made = plot([dot(1, 500, 2000), dot(2, 1500, 1000)], "GBP")
    assert made is not None
    by_number = {p.number: p for p in made.points}
    assert by_number[1].x < by_number[2].x
    assert by_number[1].y < by_number[2].y  # more margin stands higher on the screen
    assert by_number[1].x_low < by_number[1].x < by_number[1].x_high
    assert by_number[1].y_low > by_number[1].y > by_number[1].y_high
    assert made.x_ticks[0].label == "£0"


def test_nothing_to_draw() -> None:
    assert plot([], "GBP") is None


def test_price_path_is_level_until_the_day_it_changes() -> None:
    assert steps([0, 10, 20], [200, 100, 100]) == "M4.0 6.0H114.0V42.0H224.0V42.0h12"


@pytest.mark.parametrize("days", [[5, 5]])
def test_two_prices_on_one_day_still_draw(days: list[int]) -> None:
    assert steps(days, [100, 200]).startswith("M4.0 42.0")
