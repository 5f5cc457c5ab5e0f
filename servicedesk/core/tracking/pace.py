"""How fast a value moved over about a day, scatter taken off. Hours, values in one unit. No source: common practice."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

FEWEST, ENDS = 6, 3
LEAST_HOURS = 12.0
SCATTER = 3.0
"""So many usual steps between neighbours may be scatter alone."""


@dataclass(frozen=True)
class Pace:
    """By how much it moved between the middles of its first and last three values, in how many hours, and how much of that is sure a day."""

    moved: float
    hours: float
    sure_per_day: float


def pace(points: Sequence[tuple[float, float]]) -> Pace | None:
    """From (hour, value) in order of time; None for fewer than six values, or less than half a day. Raises ValueError for what is no number."""
    if not all(math.isfinite(hour) and math.isfinite(value) for hour, value in points):
        raise ValueError("Hours and values are numbers.")
    if len(points) < FEWEST:
        return None
    first, last = points[:ENDS], points[-ENDS:]
    hours = median(h for h, _v in last) - median(h for h, _v in first)
    if hours < LEAST_HOURS:
        return None
    moved = median(v for _h, v in last) - median(v for _h, v in first)
    steps = [abs(b - a) for (_g, a), (_h, b) in zip(points, points[1:], strict=False)]
    sure = max(0.0, abs(moved) - SCATTER * median(steps))
    return Pace(moved, hours, math.copysign(sure, moved) * 24 / hours)


def began(rows: Sequence[tuple[datetime, float]], *, beyond: Callable[[float], bool]) -> datetime:
    """When the run of values that are beyond, up to the last one, began; from (moment, value) in order of time. Raises ValueError where the last
    one is not beyond, or there is none."""
    first = None
    for moment, value in reversed(rows):
        if not beyond(value):
            break
        first = moment
    if first is None:
        raise ValueError("The last value is not beyond.")
    return first
