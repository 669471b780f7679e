"""Reads a snapshot's text; gives facts and claims, each with quote, offsets and the rule that made it."""

from pipeline.nlp.reader import Reader

__all__ = ["Reader"]
