"""The day by the clock: appointments, waiting, leaving later; every set's cheapest road against trying every order."""

from itertools import permutations

import numpy as np
import pytest

from pipeline.planning.clock import Roads, Terms, Window, cheapest_days, day_out

TERMS = Terms(
    start=8.5, hours=10, hours_there=1.5, speed_mph=40, cost_per_mile=0.5, cost_per_hour=10, fee=0, outside=-500
)


def roads(home: list[float], windows: list[Window | None] | None = None) -> Roads:
    """Vehicles along one road away from home."""
    miles = np.array(home, dtype=float)
    return Roads(miles, np.abs(miles[:, None] - miles[None]), tuple(windows or [None] * len(home)))


def test_a_day_without_appointments() -> None:
    tour = day_out([0, 1], roads([20, 40]), TERMS, 0)
    assert tour is not None
    assert tour.begins == pytest.approx((9.0, 11.0)) and tour.back == pytest.approx(13.5)
    assert tour.miles == pytest.approx(80) and tour.cost == pytest.approx(80 * 0.5 + 5 * 10)


def test_one_leaves_later_rather_than_wait() -> None:
    late = day_out([0], roads([20], [Window(0, 14.0, 14.0)]), TERMS, 0)
    assert late is not None
    assert late.leave == pytest.approx(13.5) and late.back == pytest.approx(16.0)


def test_what_comes_before_an_appointment_moves_up_to_it() -> None:
    tour = day_out([0, 1], roads([20, 40], [None, Window(0, 14.0, 14.0)]), TERMS, 0)
    assert tour is not None
    assert tour.begins == pytest.approx((12.0, 14.0)) and tour.leave == pytest.approx(11.5)


def test_an_appointment_before_it_keeps_the_wait() -> None:
    first, second = Window(0, 9.0, 9.0), Window(0, 14.0, 14.0)
    tour = day_out([0, 1], roads([20, 40], [first, second]), TERMS, 0)
    assert tour is not None
    assert tour.begins == pytest.approx((9.0, 14.0)) and tour.leave == pytest.approx(8.5)


def test_too_late_too_long_and_the_wrong_day() -> None:
    assert day_out([0], roads([200]), TERMS, 0) is None
    assert day_out([1, 0], roads([20, 40], [Window(0, 9.0, 9.0), None]), TERMS, 0) is None
    assert day_out([0], roads([20], [Window(1, 9.0, 9.0)]), TERMS, 0) is None


@pytest.mark.parametrize("seed", range(25))
def test_every_set_has_its_cheapest_road(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 6))
    xy = rng.normal(0, 30, (count, 2))
    windows: list[Window | None] = []
    for _ in range(count):
        first = float(rng.uniform(8, 16))
        windows.append(Window(0, first, first + float(rng.choice([0, 1, 3]))) if rng.random() < 0.5 else None)
    found = Roads(np.linalg.norm(xy, axis=1), np.linalg.norm(xy[:, None] - xy[None], axis=2), tuple(windows))
    tables = cheapest_days(range(count), found, TERMS, 0)
    for chosen in range(1, 1 << count):
        some = [i for i in range(count) if chosen >> i & 1]
        costs = [tour.cost for order in permutations(some) if (tour := day_out(order, found, TERMS, 0))]
        assert (chosen in tables) == bool(costs)
        if costs:
            tour = tables[chosen]
            assert tour.cost == pytest.approx(min(costs)) and sorted(tour.order) == some
            assert tour == day_out(tour.order, found, TERMS, 0)
