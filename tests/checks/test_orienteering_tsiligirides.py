"""The orienteering solver on problem 1 of Tsiligirides (1984), J. Operational Research Society 35:797-809: 32 points.

Points as handed down in the problem's public test files; best scores at five limits proved elsewhere.
"""

from itertools import pairwise

import numpy as np
import pytest

from pipeline.planning.orienteering import orienteering

# x, y, score; the first is the start, the second the end.
POINTS = np.array([
    (10.5, 14.4, 0), (11.2, 14.1, 0), (18.0, 15.9, 10), (18.3, 13.3, 10), (16.5, 9.3, 10), (15.4, 11.0, 10),
    (14.9, 13.2, 5), (16.3, 13.3, 5), (16.4, 17.8, 5), (15.0, 17.9, 5), (16.1, 19.6, 10), (15.7, 20.6, 10),
    (13.2, 20.1, 10), (14.3, 15.3, 5), (14.0, 5.1, 10), (11.4, 6.7, 15), (8.3, 5.0, 15), (7.9, 9.8, 10),
    (11.4, 12.0, 5), (11.2, 17.6, 5), (10.1, 18.7, 5), (11.7, 20.3, 10), (10.2, 22.1, 10), (9.7, 23.8, 10),
    (10.1, 26.4, 15), (7.4, 24.0, 15), (8.2, 19.9, 15), (8.7, 17.7, 10), (8.9, 13.6, 10), (5.6, 11.1, 10),
    (4.9, 18.9, 10), (7.3, 18.8, 10),
])  # fmt: skip


@pytest.mark.parametrize(("limit", "best"), [(15, 45), (30, 110), (50, 190), (70, 260), (85, 285)])
def test_the_best_known_scores_are_reached(limit: float, best: float) -> None:
    xy, scores = POINTS[:, :2], POINTS[2:, 2]
    miles = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    route = orienteering(scores, miles[2:, 2:], miles[0, 2:], miles[1, 2:], float(miles[0, 1]), limit)
    assert route.score == best
    stops = [0, *(i + 2 for i in route.order), 1]
    assert sum(miles[a, b] for a, b in pairwise(stops)) == pytest.approx(route.length)
    assert route.length <= limit + 1e-9
    assert scores[list(route.order)].sum() == best and len(set(route.order)) == len(route.order)
