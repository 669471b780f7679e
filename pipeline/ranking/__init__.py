"""Reads values, prices, repair costs and distances, and gives the ranking with verdicts, reasons and questions.

`rank` does it, `screen` looks at many quickly; what `quick_look` and `far_over` hold does for very many.
`going_without` and `viewing_outcomes` give a plan for a day what it weighs.
"""

from pipeline.ranking.quick_look import as_it_stands, ruled_out, weighed_repair
from pipeline.ranking.rank import going_without, rank
from pipeline.ranking.screen import Screened, screen
from pipeline.ranking.surplus import price_about, viewing_outcomes
from pipeline.ranking.verdict import far_over

__all__ = [
    "Screened",
    "as_it_stands",
    "far_over",
    "going_without",
    "price_about",
    "rank",
    "ruled_out",
    "screen",
    "viewing_outcomes",
    "weighed_repair",
]
