"""Distances against published figures.

Sources: Wellington-Salamanca 19,959,679.267 m, the worked example in the documentation of GeographicLib (Karney 2013);
Newport-Cleveland 538.390445 miles on the ellipsoid, the documented example of the geopy library.
"""

import numpy as np
import pytest
from sklearn.metrics.pairwise import haversine_distances

from pipeline.places import METRES_PER_MILE, miles_between


def test_wellington_salamanca() -> None:
    metres = miles_between((-41.32, 174.81), (40.96, -5.50)) * METRES_PER_MILE
    assert metres == pytest.approx(19_959_679.267, abs=0.01)


def test_newport_cleveland() -> None:
    miles = miles_between((41.49008, -71.312796), (41.499498, -81.695391))
    assert miles == pytest.approx(538.390445, abs=1e-5)


def test_distance_is_symmetric_and_nought_at_home() -> None:
    a, b = (54.97, -2.10), (50.26, -5.05)
    assert miles_between(a, b) == pytest.approx(miles_between(b, a))
    assert miles_between(a, a) == 0


def test_against_the_great_circles_of_scikit_learn() -> None:
    """On the sphere of 6371.009 km distances differ from the ellipsoid's by at most 0.56 %."""
    rng = np.random.default_rng(0)
    points = np.column_stack([rng.uniform(-80, 80, 40), rng.uniform(-180, 180, 40)])
    sphere = haversine_distances(np.radians(points)) * 6_371_009 / METRES_PER_MILE
    for i in range(len(points)):
        for j in range(i):
            miles = miles_between(tuple(points[i]), tuple(points[j]))
            assert miles == pytest.approx(sphere[i, j], rel=0.0057)


def test_newport_cleveland_on_the_sphere() -> None:
    """The documented great-circle figure of the geopy library, so that the check above stands on its own feet."""
    ends = np.radians([(41.49008, -71.312796), (41.499498, -81.695391)])
    assert haversine_distances(ends)[0, 1] * 6_371_009 / METRES_PER_MILE == pytest.approx(536.997991, abs=1e-5)
