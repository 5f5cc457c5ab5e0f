"""The vessel: a shift that is filled from below, first with work, then with time at the wheel. What is empty is free; what does not go in
stands above the rim, under a thick line. All vessels of one page share a scale, so that a short shift is a low one."""

from __future__ import annotations

from dataclasses import dataclass

from servicedesk.core.drawing.pen import Mode, Pen, number

_WIDTH, _HEIGHT, _INSET = 44.0, 52.0, 3.0


@dataclass(frozen=True, slots=True)
class Vessel:
    """Seconds: what the shift holds, work and time at the wheel in it, and what the tallest one of the page comes to."""

    holds: int
    work: int
    wheel: int
    tallest: int


def vessel_svg(vessel: Vessel, *, mode: Mode = "page") -> str:
    """The vessel, 44 by 52 px."""
    pen, bottom = Pen(mode), _HEIGHT - _INSET
    scale = (_HEIGHT - 2 * _INSET) / max(vessel.tallest, vessel.holds, vessel.work + vessel.wheel, 1)
    left, right = _INSET, _WIDTH - _INSET
    work, wheel, rim = vessel.work * scale, vessel.wheel * scale, bottom - vessel.holds * scale
    if work:
        pen.rect("stop", left, bottom - work, right - left, work)
    if wheel:
        pen.rect("past", left, bottom - work - wheel, right - left, wheel)
    pen.path("shift", f"M{number(left)} {number(rim)}V{number(bottom)}H{number(right)}V{number(rim)}")
    if vessel.work + vessel.wheel > vessel.holds:
        top = bottom - work - wheel
        pen.line("over", left, top, right, top)
    return pen.svg(width=_WIDTH, height=_HEIGHT, cls="vessel__picture", box=(_WIDTH, _HEIGHT))
