"""The strip: a day as one unbroken line. Low while driving, up at a stop, a dip for lunch, dotted while waiting.

Two uprights are the shift; what runs past the right one is drawn thick in the tone of outside. What is past is
filled darker. A second frame is isolation. A narrow stop loses its lettering, never its length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Literal

from servicedesk.core.drawing.pen import Mode, Pen, number, points

StopState = Literal["planned", "there", "done"]

_INSET = 14.0
_TOP, _ROAD, _DIP = 10.0, 54.0, 60.0
_HOURS_AT = 80.0
_LEAST = 6.0
"""The least width of a stop in px, so that one of a few minutes is still seen."""
_LETTER = 7.2
"""Room for one letter of 13 px, in px: a little more than the widest usual one, so that nothing runs over."""


@dataclass(frozen=True, slots=True)
class StripStop:
    """A stop of the day. ``shuts`` is when its door shuts, if that matters; ``arrives`` is earlier than ``start`` when one waits."""

    number: int
    name: str
    start: datetime
    end: datetime
    state: StopState = "planned"
    isolated: bool = False
    shuts: datetime | None = None
    arrives: datetime | None = None


@dataclass(frozen=True, slots=True)
class DayStrip:
    """A day of one person. Times carry their zone; ``home`` is when the drive home ends."""

    shift_start: datetime
    shift_end: datetime
    stops: Sequence[StripStop] = field(default_factory=tuple)
    lunch: tuple[datetime, datetime] | None = None
    now: datetime | None = None
    leaves: datetime | None = None
    home: datetime | None = None
    title: str = ""


class _Hours:
    """Times to places; the scale runs from the first to the last hour that the day touches."""

    def __init__(self, day: DayStrip, width: float) -> None:
        firsts = [day.shift_start, *(stop.start for stop in day.stops), *([day.leaves] if day.leaves else [])]
        lasts = [day.shift_end, *(stop.end for stop in day.stops), *([day.home] if day.home else [])]
        self.first, self.last = min(firsts), max(lasts)
        self.width = width

    def x(self, at: datetime) -> float:
        span = (self.last - self.first).total_seconds() or 1.0
        share = min(max((at - self.first).total_seconds() / span, 0.0), 1.0)
        return _INSET + (self.width - 2 * _INSET) * share

    def whole(self) -> list[datetime]:
        """The whole hours inside the scale; every second one when they would stand too close."""
        hour = self.first.replace(minute=0, second=0, microsecond=0)
        hour += timedelta(hours=1) if hour < self.first else timedelta()
        hours = []
        while hour <= self.last:
            hours.append(hour)
            hour += timedelta(hours=1)
        step = 1 if len(hours) < 2 or (self.width - 2 * _INSET) / len(hours) >= 26 else 2
        return hours[::step]


def strip_svg(
    day: DayStrip, *, width: float, names: bool = False, hours: bool = True, mode: Mode = "page"
) -> str:
    """The day at a width in px. ``names`` letters the stops with names in place of numbers."""
    pen, scale = Pen(mode), _Hours(day, width)
    for hour in scale.whole() if hours else ():
        pen.line("hour", scale.x(hour), _TOP + 4, scale.x(hour), _ROAD + 8)
        pen.text("text--soft", scale.x(hour), _HOURS_AT, str(hour.hour), "middle")
    for stop in day.stops:
        _draw_stop(pen, scale, stop, day.now, names=names)
    _draw_road(pen, scale, day)
    for at in (day.shift_start, day.shift_end):
        pen.line("shift", scale.x(at), 2, scale.x(at), _ROAD + 8)
    for stop in day.stops:
        if stop.shuts is not None and stop.shuts < stop.end:
            pen.line("door", scale.x(stop.shuts), 2, scale.x(stop.shuts), _ROAD + 8)
    _draw_now(pen, scale, day)
    height = _HOURS_AT + 6 if hours else _DIP + 6
    return pen.svg(width=width, height=height, cls="strip__day", box=(width, height), title=day.title)


def still(day: DayStrip) -> DayStrip:
    """The day without what moves with the clock, as far as that can be drawn later: while somebody is at a stop, the clock fills it."""
    return day if any(stop.state == "there" for stop in day.stops) else replace(day, now=None)


def with_now(svg: str, day: DayStrip, *, width: float) -> str:
    """The drawing of a day that stands still, of the same width and for a page, with the line of now in it."""
    pen = Pen()
    _draw_now(pen, _Hours(day, width), day)
    return svg.removesuffix(pen.END) + pen.drawn + pen.END


def _draw_now(pen: Pen, scale: _Hours, day: DayStrip) -> None:
    if day.now is not None and scale.first <= day.now <= scale.last:
        pen.line("now", scale.x(day.now), 2, scale.x(day.now), _ROAD + 8)


def _edges(scale: _Hours, stop: StripStop) -> tuple[float, float]:
    """Left and right edge of a stop: never thinner than can be seen, never out of the frame."""
    x0, x1 = scale.x(stop.start), scale.x(stop.end)
    x1 = min(max(x1, x0 + _LEAST), scale.width - _INSET)
    return min(x0, x1 - _LEAST), x1


def _draw_stop(pen: Pen, scale: _Hours, stop: StripStop, now: datetime | None, *, names: bool) -> None:
    x0, x1 = _edges(scale, stop)
    pen.rect("past" if stop.state == "done" else "stop", x0, _TOP, x1 - x0, _ROAD - _TOP)
    if stop.state == "there" and now is not None and scale.x(now) > x0:
        pen.rect("past", x0, _TOP, min(scale.x(now), x1) - x0, _ROAD - _TOP)
    if stop.isolated:
        pen.path(
            "fence",
            f"M{number(x0 + 4)} {number(_TOP + 4)}H{number(max(x1 - 4, x0 + 4))}"
            f"V{number(_ROAD - 4)}H{number(x0 + 4)}Z",
        )
    letters = stop.name if names else str(stop.number)
    if len(letters) * _LETTER + 6 <= x1 - x0:
        pen.text("text--bold" if not names else "", (x0 + x1) / 2, (_TOP + _ROAD) / 2 + 5, letters, "middle")


def _draw_road(pen: Pen, scale: _Hours, day: DayStrip) -> None:
    """The one line: from leaving to coming home, in pieces only where it is dotted or beyond the shift."""
    path: list[tuple[float, float]] = []
    at = day.leaves or day.shift_start
    path.append((scale.x(at), _ROAD))
    for stop in sorted(day.stops, key=lambda stop: (stop.start, stop.number)):
        _dip(path, scale, day, at, stop.start)
        if stop.arrives is not None and at <= stop.arrives < stop.start:
            path.append((scale.x(stop.arrives), _ROAD))
            pen.path("day", points(path))
            pen.line("day waiting", scale.x(stop.arrives), _ROAD, scale.x(stop.start), _ROAD)
            path = [(scale.x(stop.start), _ROAD)]
        x0, x1 = _edges(scale, stop)
        x0 = max(x0, path[-1][0])
        x1 = max(x0, x1)
        path += [(x0, _ROAD), (x0, _TOP), (x1, _TOP), (x1, _ROAD)]
        at = max(at, stop.end)
    end = day.home or max(at, day.shift_start)
    _dip(path, scale, day, at, end)
    path.append((scale.x(end), _ROAD))
    pen.path("day", points(path))
    last = max([end, *(stop.end for stop in day.stops)])
    if last > day.shift_end:
        pen.line("over", scale.x(day.shift_end), _ROAD, scale.x(last), _ROAD)


def _dip(
    path: list[tuple[float, float]], scale: _Hours, day: DayStrip, since: datetime, until: datetime
) -> None:
    """Lunch, when it falls between two stops."""
    if day.lunch is None:
        return
    start, end = max(day.lunch[0], since), min(day.lunch[1], until)
    if start < end:
        x0, x1 = scale.x(start), scale.x(end)
        path += [(x0, _ROAD), (x0, _DIP), (x1, _DIP), (x1, _ROAD)]
