"""Reads values, prices, repair costs and distances, and gives the ranking with verdicts, reasons and questions."""

from pipeline.ranking.rank import rank

__all__ = ["rank"]
