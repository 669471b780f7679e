"""Plans of one and two days against trying everything, against going down the ranking, and what appointments do."""

from itertools import combinations, permutations, product

import numpy as np
import pytest

from pipeline.errors import StageError
from pipeline.planning import Candidate, Terms, Window, plan_days
from pipeline.planning.clock import Roads, day_out

TERMS = Terms(
    start=8.5, hours=10, hours_there=1.5, speed_mph=40, cost_per_mile=0.5, cost_per_hour=10, fee=0, outside=-300
)
SAMPLES = 400


def pool(seed: int, count: int, spread: float = 40.0) -> tuple[list[Candidate], np.ndarray]:
    rng = np.random.default_rng(seed)
    xy = rng.normal(0, spread, (count, 2))
    home = np.linalg.norm(xy, axis=1)
    found = []
    for i in range(count):
        outcomes = rng.normal(rng.normal(-300, 200), 300, SAMPLES)
        found.append(Candidate(str(i), float(home[i]), outcomes, float(outcomes.mean() + 100)))
    return found, np.linalg.norm(xy[:, None] - xy[None], axis=2)


def gain_of(order: tuple[int, ...], candidates: list[Candidate], between: np.ndarray) -> float:
    roads = Roads(np.array([c.miles for c in candidates]), between, tuple(c.appointment for c in candidates))
    tour = day_out(order, roads, TERMS, 0)
    if tour is None:
        return -np.inf
    best = np.max([candidates[i].outcomes for i in order], axis=0, initial=TERMS.outside)
    return float(np.mean(best)) - TERMS.outside - tour.cost


def best_by_trying(candidates: list[Candidate], between: np.ndarray) -> float:
    orders = (
        order
        for size in range(1, 5)
        for some in combinations(range(len(candidates)), size)
        for order in permutations(some)
    )
    return max([0.0, *(gain_of(order, candidates, between) for order in orders)])


@pytest.mark.parametrize("seed", range(12))
def test_no_set_and_no_order_is_better(seed: int) -> None:
    candidates, between = pool(seed, 6)
    plan = plan_days(candidates, between, TERMS)
    assert plan.proved and plan.best.gain == pytest.approx(best_by_trying(candidates, between))
    assert plan.best.gain >= plan.by_index.gain - 1e-9
    (tour,) = plan.best.days
    assert plan.best.gain == pytest.approx(gain_of(tour.order, candidates, between) if tour.order else 0.0)


def test_a_shared_road_beats_the_order_of_the_ranking() -> None:
    """Two middling ones next to each other against one a little better the other way."""
    rng = np.random.default_rng(2)
    outcomes = [rng.normal(mean, 300, SAMPLES) for mean in (0, -20, -20)]
    candidates = [Candidate(str(i), 60.0, o, float(o.mean())) for i, o in enumerate(outcomes)]
    between = np.array([[0, 120, 120], [120, 0, 2], [120, 2, 0]], dtype=float)
    plan = plan_days(candidates, between, TERMS)
    assert sorted(plan.best.days[0].order) == [1, 2]
    assert plan.best.gain > plan.by_index.gain + 20


def test_nothing_worth_its_journey_is_not_set_out_for() -> None:
    candidates = [Candidate("1", 30.0, np.full(SAMPLES, -400.0), -450.0)]
    plan = plan_days(candidates, np.zeros((1, 1)), TERMS)
    assert plan.best.days[0].order == () and plan.best.gain == 0
    assert plan_days([], np.zeros((0, 0)), TERMS).best.gain == 0


@pytest.mark.parametrize("seed", range(4))
def test_more_than_can_be_weighed_are_searched(seed: int) -> None:
    candidates, between = pool(seed, 14, spread=50.0)
    plan = plan_days(candidates, between, TERMS)
    assert not plan.proved and plan.considered == 14
    assert plan.best.gain >= 0.97 * best_by_trying(candidates, between)


def test_an_appointment_is_kept_even_where_it_does_not_pay() -> None:
    candidates, between = pool(3, 5)
    poor = Candidate("late", 10.0, np.full(SAMPLES, -900.0), -950.0, Window(0, 15.0, 15.0))
    apart = np.full((6, 6), 40.0)
    apart[:5, :5] = between
    plan = plan_days([*candidates, poor], apart, TERMS)
    tour = plan.best.days[0]
    assert 5 in tour.order and tour.begins[tour.order.index(5)] == pytest.approx(15.0)


def test_appointments_that_exclude_each_other_are_refused() -> None:
    outcomes = np.zeros(SAMPLES)
    both = [Candidate(str(i), 30.0, outcomes, 0.0, Window(0, 10.0, 10.0)) for i in range(2)]
    with pytest.raises(StageError, match="cannot all be kept"):
        plan_days(both, np.full((2, 2), 5.0), TERMS)


@pytest.mark.parametrize("seed", range(5))
def test_two_days_against_trying_every_split(seed: int) -> None:
    """The second day is gone out for only while the first has found less than it promises."""
    candidates, between = pool(seed, 4, spread=70.0)
    roads = Roads(np.array([c.miles for c in candidates]), between, (None,) * 4)
    best = 0.0
    for days in product(range(3), repeat=4):  # 2: not seen
        tours = []
        for day in range(2):
            some = tuple(i for i in range(4) if days[i] == day)
            roads_of = [t for order in permutations(some) if order and (t := day_out(order, roads, TERMS, 0))]
            tours.append(min(roads_of, key=lambda t: t.cost) if roads_of else None)
            if some and not roads_of:
                tours[-1] = None
                break
        if len(tours) < 2 or any(t is None and d in days for d, t in enumerate(tours)):
            continue
        first = np.max([candidates[i].outcomes for i in range(4) if days[i] == 0], axis=0, initial=TERMS.outside)
        first = np.broadcast_to(first, SAMPLES)
        gain = float(first.mean()) - TERMS.outside - (tours[0].cost if tours[0] else 0.0)
        if tours[1]:
            second = np.max([candidates[i].outcomes for i in range(4) if days[i] == 1], axis=0)
            going = np.maximum(first[:, None], second[None]).mean(axis=1) - tours[1].cost
            gain = float(np.maximum(first, going).mean()) - TERMS.outside - (tours[0].cost if tours[0] else 0.0)
        best = max(best, gain)
    plan = plan_days(candidates, between, TERMS, days=2)
    assert plan.best.gain == pytest.approx(best, abs=1.0)
    assert plan.best.gain >= plan_days(candidates, between, TERMS).best.gain - 1e-9
    if plan.best.stop_at is not None:
        second = np.max([candidates[i].outcomes for i in plan.best.days[1].order], axis=0)
        assert np.maximum(second - plan.best.stop_at, 0).mean() == pytest.approx(plan.best.days[1].cost)
