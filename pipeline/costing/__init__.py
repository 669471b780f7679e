"""Reads facts, claims and silence, and gives beliefs about faults and the distribution of the repair cost."""

from pipeline.costing.estimate import estimate

__all__ = ["estimate"]
