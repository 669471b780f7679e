"""Distances against published figures.

Sources: Wellington-Salamanca 19,959,679.267 m, the worked example in the documentation of GeographicLib (Karney 2013);
Newport-Cleveland 538.390445 miles on the ellipsoid, the documented example of the geopy library.
"""

import pytest

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
