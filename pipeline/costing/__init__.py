"""Reads facts, claims and silence, and gives beliefs about faults and the distribution of the repair cost."""

from pipeline.costing.estimate import Engine, estimate
from pipeline.costing.outcomes import learnt_knowledge

__all__ = ["Engine", "estimate", "learnt_knowledge"]
