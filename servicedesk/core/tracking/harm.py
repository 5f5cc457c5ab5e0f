"""When harm begins: how long a value on its way takes to reach its limit, and how long animals bear a lost signal.

The line is Theil-Sen's (Sen 1968, see history). A trend is believed only where it is larger than what the method and
its scatter could make of a level that stands still, over at least a day; and it is carried no further than a week."""

from collections.abc import Sequence
from statistics import median

from servicedesk.core.tracking.history import FEWEST, slope_per_day

MOST_POINTS = 48
LEAST_DAYS = 1.0
FURTHEST_H = 7 * 24.0
BEARABLE_H = {"power": 4.0, "flow": 4.0, "chiller": 6.0, "level": 8.0, "leak": 2.0}
"""Hours until animals suffer once a life-support signal is lost (common practice; small or crowded tanks bear less)."""


def thinned(points: Sequence[tuple[float, float]], most: int = MOST_POINTS) -> list[tuple[float, float]]:
    """At most so many points, evenly taken, the newest always among them."""
    step = -(-len(points) // most) if points else 1
    return list(points)[::-1][::step][::-1]


def trend_per_day(points: Sequence[tuple[float, float]], *, tolerance: float) -> float | None:
    """Units a day, where the trend is more than chance; else None. `points` are (days ago, value), oldest first;
    `tolerance` is the method's, in the same unit."""
    rows = thinned(points)
    if len(rows) < FEWEST:
        return None
    span = rows[0][0] - rows[-1][0]
    slope = slope_per_day(rows)
    if slope is None or span < LEAST_DAYS:
        return None
    middle = median(value + slope * ago for ago, value in rows)
    scatter = 1.4826 * median(abs(value + slope * ago - middle) for ago, value in rows)
    return slope if abs(slope) * span > max(tolerance, 2 * scatter) else None


def hours_to_limit(
    points: Sequence[tuple[float, float]], *, low: float | None, high: float | None, tolerance: float = 0.0
) -> float | None:
    """Hours from the newest point until the line meets the limit it moves to: 0 where the newest value stands beyond
    one already, None where no trend leads to one within a week."""
    if not points:
        return None
    newest, value = points[-1]
    if (low is not None and value < low) or (high is not None and value > high):
        return 0.0
    slope = trend_per_day(points, tolerance=tolerance)
    limit = None if not slope else low if slope < 0 else high
    if slope is None or limit is None:
        return None
    middle = median(v + slope * (ago - newest) for ago, v in thinned(points))
    hours = max(0.0, 24 * (limit - middle) / slope)
    return hours if hours <= FURTHEST_H else None
