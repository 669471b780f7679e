"""Coverage and width of the 90 % intervals on open data over 200 random splits; data as in checks/open_prices.py."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "checks"))

from open_prices import interval_figures, load

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("name", ["AccordPrice", "PorschePrice", "ThreeCars2017"])
def test_ninety_per_cent_intervals_cover_and_are_narrower(name: str) -> None:
    covered, width, linear = interval_figures(load(name), 200)
    assert 0.88 <= covered <= 0.93
    assert width < linear
