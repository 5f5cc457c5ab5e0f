"""Weeks side by side: one line of time for each week of a technician, filled with work and then time at the wheel, an upright where the
paid hours end, and a hollow square where the same week ends today. Square marks on an axis are time."""

from __future__ import annotations

from dataclasses import dataclass

from servicedesk.core.drawing.pen import Mode, Pen, number

_STEP, _HIGH, _INSET, _FOOT = 20.0, 11.0, 6.0, 6.0


@dataclass(frozen=True, slots=True)
class WeekBar:
    """Seconds of one week: work, time at the wheel, and how long the same week is today (None: not known)."""

    work: int
    wheel: int
    today: int | None


@dataclass(frozen=True, slots=True)
class Weeks:
    """A technician's weeks; what is paid in each, and what the longest line of the page comes to. Seconds."""

    bars: tuple[WeekBar, ...]
    paid: int
    longest: int


def weeks_svg(shown: Weeks, *, width: float = 300.0, mode: Mode = "page") -> str:
    """The lines of all weeks, one under the other."""
    pen, height = Pen(mode), _STEP * len(shown.bars) + _FOOT
    most = max(shown.longest, shown.paid, 1, *(max(b.work + b.wheel, b.today or 0) for b in shown.bars))
    scale = (width - 2 * _INSET) / most
    rim = _INSET + shown.paid * scale
    for row, bar in enumerate(shown.bars):
        top = _FOOT / 2 + row * _STEP + (_STEP - _HIGH) / 2
        middle, work, wheel = top + _HIGH / 2, bar.work * scale, bar.wheel * scale
        pen.line("axis", _INSET, middle, width - _INSET, middle)
        if work:
            pen.rect("stop", _INSET, top, work, _HIGH)
        if wheel:
            pen.rect("past", _INSET + work, top, wheel, _HIGH)
        if bar.work + bar.wheel > shown.paid:
            pen.line("over", rim, middle, _INSET + work + wheel, middle)
        if bar.today is not None:
            x = _INSET + bar.today * scale
            pen.rect("open", x - 4, middle - 4, 8, 8)
    pen.path("shift", f"M{number(rim)} 0V{number(height)}")
    return pen.svg(width=width, height=height, cls="weeks", box=(width, height))
