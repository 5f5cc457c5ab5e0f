"""Whether a series of values rises or falls at all, without a belief in how its errors are spread.

Mann 1945, Econometrica 13, 245, with the correction for ties and for continuity (Kendall 1975); Sen 1968, Journal of the
American Statistical Association 63, 1379: the median of all slopes, its limits after the same count. Values in one unit;
slopes per unit of the times."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, median

from servicedesk.core.metrology.lines import NoLine

NORMAL = NormalDist()


@dataclass(frozen=True)
class Trend:
    """Kendall's count S, its variance, z with the correction for continuity, the two-sided chance of such a z without any
    trend, the median slope with its limits, and the intercept of the line through the medians."""

    count: int
    variance: float
    z: float
    chance: float
    slope: float
    low: float
    high: float
    intercept: float


def _ties(values: Sequence[float]) -> list[int]:
    return [n for n in Counter(values).values() if n > 1]


def trend(
    *, values: Sequence[float], times: Sequence[float] | None = None, confidence: float = 0.95
) -> Trend:
    """The trend of four values or more, in the order of their times (0, 1, 2 … where none are given). Raises NoLine."""
    at = [float(n) for n in range(len(values))] if times is None else list(times)
    if len(values) < 4 or len(at) != len(values):
        raise NoLine("A trend takes four values or more, each with its time.")
    if not all(map(math.isfinite, (*values, *at))) or not 0 < confidence < 1:
        raise NoLine("A value is not a number, or the confidence lies outside 0 to 1.")
    if any(later <= earlier for earlier, later in zip(at, at[1:], strict=False)):
        raise NoLine("The values stand in the order of their times, no two at one time.")
    n = len(values)
    pairs = [(i, j) for i in range(n) for j in range(i + 1, n)]
    count = sum((values[j] > values[i]) - (values[j] < values[i]) for i, j in pairs)
    tied = sum(t * (t - 1) * (2 * t + 5) for t in _ties(values))
    variance = (n * (n - 1) * (2 * n + 5) - tied) / 18
    z = 0.0 if count == 0 else (count - math.copysign(1, count)) / math.sqrt(variance)
    slopes = sorted((values[j] - values[i]) / (at[j] - at[i]) for i, j in pairs)
    slope = median(slopes)
    low, high = _limits(slopes, variance, confidence)
    return Trend(
        count=count,
        variance=variance,
        z=z,
        chance=2 * NORMAL.cdf(-abs(z)),
        slope=slope,
        low=low,
        high=high,
        intercept=median(values) - slope * median(at),
    )


def _limits(slopes: Sequence[float], variance: float, confidence: float) -> tuple[float, float]:
    """The slopes that many places from the middle, as Sen counts them."""
    z = NORMAL.inv_cdf((1 - confidence) / 2)
    n = len(slopes)
    upper = min(round((n - z * math.sqrt(variance)) / 2), n - 1)
    lower = max(round((n + z * math.sqrt(variance)) / 2) - 1, 0)
    return slopes[lower], slopes[upper]
