"""What the buyer records of a vehicle: answers, findings, prices, corrections; beliefs and the ranking follow.

No stage: like `run.py` it stands beside the stages and joins them.
"""

from pipeline.notes.apply import Recorded, corrected, outdated, recorded

__all__ = ["Recorded", "corrected", "outdated", "recorded"]
