"""Reads all vehicles of a search as comparables, gives the sound value of each."""

from __future__ import annotations

from pipeline.valuation.middles import Middles
from pipeline.valuation.value import value

__all__ = ["Middles", "value"]
