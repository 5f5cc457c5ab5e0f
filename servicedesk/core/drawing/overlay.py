"""The day overlay: some days laid over each other on one axis of 24 hours, old ones thin, today's thick.

For what swings by day and night, so that like hours are compared. Hours are counted on the clock of the site."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo

from servicedesk.core.drawing.pen import Mode, Pen, points

_LEFT, _RIGHT, _TOP, _FOOT = 44.0, 12.0, 10.0, 22.0
MOST_GAP_H = 4.0
"""Two values further apart than this are never joined."""


@dataclass(frozen=True, slots=True)
class OverlayDay:
    """One day: its values as (hour of the day, value), in order of time."""

    day: date
    points: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class DayOverlay:
    """Days oldest first; ``now`` is the hour that it is today, None where today is not among them."""

    title: str
    unit: str
    days: Sequence[OverlayDay] = field(default_factory=tuple)
    low: float | None = None
    high: float | None = None
    now: float | None = None
    name_value: Callable[[float], str] = "{:g}".format


def days_of(values: Iterable[tuple[datetime, float]], zone: tzinfo) -> list[OverlayDay]:
    """Values by the day of the zone, oldest day first."""
    by_day: dict[date, list[tuple[float, float]]] = {}
    for at, value in sorted(values):
        local = at.astimezone(zone)
        hour = local.hour + local.minute / 60 + local.second / 3600
        by_day.setdefault(local.date(), []).append((hour, value))
    return [OverlayDay(day, by_day[day]) for day in sorted(by_day)]


def overlay_svg(overlay: DayOverlay, *, width: float, height: float = 150.0, mode: Mode = "page") -> str:
    """The drawing, made for the width at which it is shown. Raises ValueError where there is no value at all."""
    pen = Pen(mode)
    right, bottom = width - _RIGHT, height - _FOOT
    bottom_value, top_value = _range(overlay)

    def x(hour: float) -> float:
        return _LEFT + (right - _LEFT) * min(max(hour, 0.0), 24.0) / 24

    def y(value: float) -> float:
        return bottom - (bottom - _TOP) * (value - bottom_value) / (top_value - bottom_value)

    if overlay.low is not None and overlay.high is not None and overlay.low < overlay.high:
        pen.rect("glass", _LEFT, y(overlay.high), right - _LEFT, y(overlay.low) - y(overlay.high))
    for line in (overlay.low, overlay.high):
        if line is not None:
            pen.line("mark", _LEFT, y(line), right, y(line))
            pen.text("text--soft", _LEFT - 8, y(line) + 4.5, overlay.name_value(line), "end")
    pen.line("axis", _LEFT, bottom, right, bottom)
    for hour in (0, 6, 12, 18, 24):
        pen.line("axis", x(hour), bottom, x(hour), bottom + 4)
        pen.text("text--soft", x(hour), bottom + 17, str(hour), "middle")
    for number, day in enumerate(overlay.days):
        newest = number == len(overlay.days) - 1
        for run in _runs(day.points):
            places = [(x(hour), y(value)) for hour, value in run]
            if len(places) == 1:
                pen.circle("ink", *places[0], 2.5 if newest else 1.5)
            else:
                pen.path("thick" if newest else "thin", points(places))
    if overlay.now is not None:
        pen.line("now", x(overlay.now), 2, x(overlay.now), bottom)
    return pen.svg(width=width, height=height, cls="plot", box=(width, height), title=overlay.title)


def _range(overlay: DayOverlay) -> tuple[float, float]:
    """Lowest and highest value to show: all that was measured, and the band."""
    values = [value for day in overlay.days for _hour, value in day.points]
    if not values:
        raise ValueError("There is nothing to lay over each other.")
    values += [line for line in (overlay.low, overlay.high) if line is not None]
    low, high = min(values), max(values)
    room = 0.08 * (high - low) or max(abs(high) * 0.05, 0.5)
    return low - room, high + room


def _runs(values: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    runs: list[list[tuple[float, float]]] = []
    for hour, value in values:
        if not runs or hour - runs[-1][-1][0] > MOST_GAP_H:
            runs.append([])
        runs[-1].append((hour, value))
    return runs
