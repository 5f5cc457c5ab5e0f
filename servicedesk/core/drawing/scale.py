"""Scales of a chart: a moment to the right, a value upward."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Scale:
    """Straight scales between the edges of a plot, in px; y grows downward as SVG has it."""

    start: datetime
    end: datetime
    low: float
    high: float
    left: float
    right: float
    top: float
    bottom: float

    def x(self, at: datetime) -> float:
        """Place of a moment, held inside the plot."""
        share = (at - self.start).total_seconds() / (self.end - self.start).total_seconds()
        return self.left + (self.right - self.left) * min(max(share, 0.0), 1.0)

    def y(self, value: float) -> float:
        """Place of a value; the highest stands at the top."""
        return self.bottom - (self.bottom - self.top) * (value - self.low) / (self.high - self.low)


def thinned(places: list[tuple[float, float]], columns: int) -> list[tuple[float, float]]:
    """At most four places for each column of one px: its first, lowest, highest and last, in order.

    What a screen of that width can show is kept; nothing is averaged away.
    """
    if len(places) <= 2 * columns:
        return places
    kept: list[tuple[float, float]] = []
    column: list[tuple[float, float]] = []
    for place in places:
        if column and int(place[0]) != int(column[0][0]):
            kept += _outline(column)
            column = []
        column.append(place)
    return kept + _outline(column)


def _outline(column: list[tuple[float, float]]) -> list[tuple[float, float]]:
    heights = [y for _x, y in column]
    wanted = {0, heights.index(min(heights)), heights.index(max(heights)), len(column) - 1}
    return [column[index] for index in sorted(wanted)]
