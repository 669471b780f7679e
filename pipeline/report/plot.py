"""Geometry of the page's drawings: they are SVG made here, not by a plotting library's script.

A plotting library's JavaScript weighs 4 MB of the page's 8, adds style rules that the page's content security policy
refuses, and its points cannot be reached by keyboard. Drawn on the server each point is a link with a name.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.report.words import money

LEFT, RIGHT, TOP, BOTTOM = 12, 748, 14, 392
CROWD = 40  # points above which only the numbered ones show their intervals at once
NUMBERED = 12  # points that carry their place in the ranking; more would cover each other
FAR = 3.0  # quartile ranges beyond the quartiles at which an end is left off the axes (Tukey 1977, "far out")


@dataclass(frozen=True, slots=True)
class Axis:
    """A linear scale from money to drawing units."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Position of a value, held within the drawing."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)

    def holds(self, value: float) -> bool:
        """Whether the value lies on the axis."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True, slots=True)
class Dot:
    """One vehicle, before it has a place: money, and what names it."""

    number: int
    anchor: str
    note: str
    verdict: str
    repair: tuple[float, float, float]  # 10 % point, mean, 90 % point
    margin: tuple[float, float, float]  # sound value less price, likewise


@dataclass(frozen=True, slots=True)
class Point:
    """One vehicle on the plot, drawing units."""

    number: int
    anchor: str
    note: str
    shape: str
    x: float
    y: float
    x_low: float
    x_high: float
    y_low: float
    y_high: float
    numbered: bool
    bare: bool  # its interval shows only when it is pointed at or has the focus


@dataclass(frozen=True, slots=True)
class Plot:
    points: tuple[Point, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    zero: float | None
    even: tuple[float, float, float, float] | None  # the line on which the margin pays for the repair
    outside: tuple[str, ...]


def plot(dots: Sequence[Dot], currency: str) -> Plot | None:
    """The plot of sound value less price over repair cost, or None without a vehicle to draw."""
    if not dots:
        return None
    x = axis([v for dot in dots for v in dot.repair], LEFT, RIGHT, floor=0.0)
    y = axis([v for dot in dots for v in dot.margin], BOTTOM, TOP)
    inside = [dot for dot in dots if x.holds(dot.repair[1]) and y.holds(dot.margin[1])]
    low, high = max(x.low, y.low), min(x.high, y.high)
    return Plot(
        points=tuple(_point(dot, x, y, len(inside) > CROWD) for dot in reversed(inside)),
        x_ticks=tuple(Tick(x.at(v), money(v, currency)) for v in ticks(x.low, x.high)),
        y_ticks=tuple(Tick(y.at(v), money(v, currency)) for v in ticks(y.low, y.high)),
        zero=y.at(0) if y.holds(0) else None,
        even=(x.at(low), y.at(low), x.at(high), y.at(high)) if low < high else None,
        outside=tuple(dot.note for dot in dots if dot not in inside),
    )


def _point(dot: Dot, x: Axis, y: Axis, crowded: bool) -> Point:
    return Point(
        number=dot.number,
        anchor=dot.anchor,
        note=dot.note,
        shape=dot.verdict.replace(" ", "-"),
        x=x.at(dot.repair[1]),
        y=y.at(dot.margin[1]),
        x_low=x.at(dot.repair[0]),
        x_high=x.at(dot.repair[2]),
        y_low=y.at(dot.margin[0]),
        y_high=y.at(dot.margin[2]),
        numbered=dot.number <= NUMBERED,
        bare=crowded and dot.number > NUMBERED,
    )


def axis(values: Sequence[float], start: float, end: float, floor: float | None = None) -> Axis:
    """An axis over values, far-out ends left off, with a little room; never of no length."""
    lower, upper = np.percentile(values, [25, 75])
    reach = FAR * max(float(upper - lower), abs(float(upper)) * 0.1, 1.0)
    near = [v for v in values if lower - reach <= v <= upper + reach]
    low, high = min(near) if floor is None else floor, max(near)
    room = max((high - low) * 0.04, 1.0)
    return Axis(low if floor is not None else low - room, high + room, start, end)


def ticks(low: float, high: float, about: int = 6) -> list[float]:
    """Round values between low and high, in steps of 1, 2 or 5 times a power of ten."""
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(size * power for size in (1, 2, 5, 10) if size * power >= raw)
    steps_up = range(math.ceil(low / step), math.floor(high / step) + 1)
    return [value for n in steps_up if low <= (value := n * step) <= high]  # the product may round outward


@dataclass(frozen=True, slots=True)
class Strip:
    """An interval on a scale of 0 to 120."""

    low: float
    mean: float
    high: float
    zero: float | None


def strip(scale: Axis, low: float, mean: float, high: float) -> Strip:
    """A spread on the scale that all rows share."""
    return Strip(scale.at(low), scale.at(mean), scale.at(high), scale.at(0) if scale.holds(0) else None)


def steps(days: Sequence[int], prices: Sequence[float]) -> str:
    """A price history as an SVG path in 240 by 48: level until the day it changes."""
    across = Axis(days[0], max(days[-1], days[0] + 1), 4, 224)
    up = Axis(min(prices), max(max(prices), min(prices) + 1), 42, 6)
    path = f"M{across.at(days[0])} {up.at(prices[0])}"
    for when, price in zip(days[1:], prices[1:], strict=True):
        path += f"H{across.at(when)}V{up.at(price)}"
    return path + "h12"
