"""What a chart is made of: series, band, limits, events, faults and an estimate; and the table that says the same.

The drawing of it stands in ``plot``; the words on it are handed in, so that they can be translated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from typing import Literal

Marker = Literal["titrator", "photometer", "titration", "laboratory", "strip", "probe"]
EventKind = Literal["visit", "dose", "change", "reagent", "calibration"]


@dataclass(frozen=True, slots=True)
class ChartSeries:
    """Values by one method, in the chart's unit. Two points further apart than ``gap`` are never joined."""

    label: str
    marker: Marker
    points: Sequence[tuple[datetime, float]]
    gap: timedelta = timedelta(hours=36)
    joined: bool = True

    def runs(self) -> list[list[tuple[datetime, float]]]:
        """The points in order of time, cut wherever the gap is longer than allowed."""
        runs: list[list[tuple[datetime, float]]] = []
        for at, value in sorted(self.points):
            if not runs or at - runs[-1][-1][0] > self.gap:
                runs.append([])
            runs[-1].append((at, value))
        return runs


@dataclass(frozen=True, slots=True)
class EstimatePoint:
    """What is worked out for one moment: the middle, and the interval about it."""

    at: datetime
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ChartEvent:
    """Something done, under the axis."""

    at: datetime
    kind: EventKind
    text: str = ""


@dataclass(frozen=True, slots=True)
class ChartFault:
    """A time in which something was wrong, with its sentence."""

    start: datetime
    end: datetime
    text: str


@dataclass(frozen=True, slots=True)
class ChartWords:
    """The words that stand on the drawing, with their figures put in by str.format."""

    high: str = "high mark {}"
    low: str = "low mark {}"
    limit: str = "limit {}"
    now: str = "today"
    silent_h: str = "silent {} h"
    silent_d: str = "silent {} days"
    nothing: str = "Nothing has been measured in this time."


def _plain_time(at: datetime, step: timedelta) -> str:
    return f"{at:%H:%M}" if step < timedelta(days=1) else f"{at.day} {at:%b}"


def _plain_number(value: float) -> str:
    return f"{value:g}"


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything one chart shows. ``title`` is its answer as a sentence. All values share ``unit``.

    ``name_time`` letters the axis: it gets a moment and the distance between two letters. ``zone`` is the zone in
    which days begin; without it, days begin as the given times have them.
    """

    title: str
    unit: str
    series: Sequence[ChartSeries] = field(default_factory=tuple)
    low: float | None = None
    high: float | None = None
    limit_low: float | None = None
    limit_high: float | None = None
    events: Sequence[ChartEvent] = field(default_factory=tuple)
    faults: Sequence[ChartFault] = field(default_factory=tuple)
    estimate: Sequence[EstimatePoint] = field(default_factory=tuple)
    estimate_gap: timedelta = timedelta(days=3)
    now: datetime | None = None
    start: datetime | None = None
    end: datetime | None = None
    zone: tzinfo | None = None
    words: ChartWords = field(default_factory=ChartWords)
    name_time: Callable[[datetime, timedelta], str] = _plain_time
    name_value: Callable[[float], str] = _plain_number

    def estimate_runs(self) -> list[list[EstimatePoint]]:
        """The estimate in order of time, cut wherever its points are further apart than ``estimate_gap``."""
        runs: list[list[EstimatePoint]] = []
        for point in sorted(self.estimate, key=lambda point: point.at):
            if not runs or point.at - runs[-1][-1].at > self.estimate_gap:
                runs.append([])
            runs[-1].append(point)
        return runs

    @property
    def is_empty(self) -> bool:
        return not any(series.points for series in self.series) and not self.estimate


@dataclass(frozen=True, slots=True)
class ChartTableRow:
    """One line of the table behind a chart."""

    at: datetime
    what: str
    value: float | None
    text: str = ""


def chart_table(chart: Chart) -> list[ChartTableRow]:
    """Every value, event and fault of a chart, newest first; values before events of the same moment."""
    rows = [ChartTableRow(at, series.label, value) for series in chart.series for at, value in series.points]
    rows += [ChartTableRow(event.at, event.kind, None, event.text) for event in chart.events]
    rows += [ChartTableRow(fault.start, "fault", None, fault.text) for fault in chart.faults]
    return sorted(rows, key=lambda row: row.at, reverse=True)
