"""What the next value should be, from earlier ones: a robust line and its scatter.

Theil-Sen slope (Sen 1968, J. Am. Stat. Assoc. 63, 1379) through the last values; scatter as 1.4826 times the median
absolute deviation from that line (the factor for a normal distribution). Times are days ago (larger is older), values
in the canonical unit."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

FEWEST = 4
WIDTH = 3.5


@dataclass(frozen=True)
class Expected:
    """History expects a value between low and high, most likely centre."""

    low: float
    high: float
    centre: float


def slope_per_day(points: Sequence[tuple[float, float]]) -> float | None:
    """Median of the slopes between all pairs (units a day, rising is positive); None for fewer than two times."""
    slopes = [
        (late[1] - early[1]) / (early[0] - late[0])
        for number, late in enumerate(points)
        for early in points[number + 1 :]
        if early[0] != late[0]
    ]
    return median(slopes) if slopes else None


def expected(
    points: Sequence[tuple[float, float]], *, tolerance: float = 0.0, steepest: float | None = None
) -> Expected | None:
    """The range in which a value measured now should lie; None for fewer than four points.

    `points` are (days ago, value). `tolerance` is the method's: the range is never narrower than that to both
    sides. `steepest` bounds the slope that is carried forward (units a day)."""
    if len(points) < FEWEST:
        return None
    slope = slope_per_day(points) or 0.0
    if steepest is not None:
        slope = max(-steepest, min(steepest, slope))
    centre = median(value + slope * ago for ago, value in points)
    off = [abs(value + slope * ago - centre) for ago, value in points]
    scatter = 1.4826 * median(off)
    wide = math.hypot(WIDTH * scatter, tolerance) + tolerance * 0.5
    return Expected(low=centre - wide, high=centre + wide, centre=centre)
