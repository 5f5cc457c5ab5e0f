"""Where a value will stand: a first outlook without a model of the tank. Hours, values in one unit.

The middle of the last three values, with the spread that this series itself showed over such a time. No source: common practice."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median

Z90 = 1.645
FEWEST, MOST = 6, 200
UNKNOWN_SHARE = 0.05
"""Where the history is too short to tell: a twentieth of the value either way."""


@dataclass(frozen=True)
class Outlook:
    """The value expected, and between what it lies in 90 of 100 cases."""

    value: float
    low: float
    high: float


def outlook(*, points: Sequence[tuple[float, float]], horizon: float) -> Outlook:
    """From (hour, value) in order of time. Raises ValueError without any, or for a horizon that is not above nought."""
    if not points or not horizon > 0 or not all(math.isfinite(v) for _h, v in points):
        raise ValueError("An outlook needs values, all of them numbers, and a time ahead.")
    value = median(v for _h, v in points[-3:])
    thinned = points[:: max(1, len(points) // MOST)]
    moves, place = [], 0
    for hour, then in thinned:
        while place < len(thinned) and thinned[place][0] < hour + horizon:
            place += 1
        if place < len(thinned):
            reached, now = thinned[place]
            moves.append((now - then) ** 2 * horizon / (reached - hour))
    if len(moves) >= FEWEST:
        spans = max(1.0, (thinned[-1][0] - thinned[0][0]) / horizon)
        spread = math.sqrt(fmean(moves)) * (
            1 + 1 / (2 * math.sqrt(spans))
        )  # few such times were seen: the spread itself is not sure
    else:
        spread = UNKNOWN_SHARE * abs(value)
    return Outlook(value, value - Z90 * spread, value + Z90 * spread)
