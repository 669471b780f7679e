"""Reads values, prices, repair costs and distances, and gives the ranking with verdicts, reasons and questions.

`rank` does it, `screen` looks at many quickly; `going_without` and `viewing_outcomes` give a plan for a day what it
weighs.
"""

from pipeline.ranking.rank import going_without, rank
from pipeline.ranking.screen import Screened, screen
from pipeline.ranking.surplus import viewing_outcomes

__all__ = ["Screened", "going_without", "rank", "screen", "viewing_outcomes"]
