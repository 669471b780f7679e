"""Reads vehicles worth seeing, where they stand and what a viewing may find, and gives a day or two of viewings."""

from pipeline.planning.clock import Terms, Tour, Window
from pipeline.planning.day import Candidate, Outing, Plan, plan_days

__all__ = ["Candidate", "Outing", "Plan", "Terms", "Tour", "Window", "plan_days"]
