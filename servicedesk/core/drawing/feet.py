"""The rows under a chart's axis: faults as bars with their sentence, events as signs, those of one visit side by side."""

from __future__ import annotations

from servicedesk.core.drawing.chart import Chart, ChartEvent
from servicedesk.core.drawing.pen import Pen, number
from servicedesk.core.drawing.scale import Scale

_ROW = 26.0
_SIGN = 20.0
_LETTER = 6.9
"""Room for one letter of 13 px, in px."""


def feet_height(chart: Chart) -> float:
    """Room in px that the rows need."""
    return _ROW * len(chart.faults) + (_ROW + 4 if chart.events else 0.0)


def draw_feet(pen: Pen, scale: Scale, chart: Chart, *, top: float) -> None:
    """Draw the rows below ``top``. A text without room is left to the table."""
    for index, fault in enumerate(chart.faults):
        y = top + index * _ROW + 4
        x0, x1 = scale.x(fault.start), scale.x(fault.end)
        width = len(fault.text) * _LETTER
        pen.rect("bar", x0, y, max(x1 - x0, 2), 6)
        if x0 - scale.left > width:
            pen.text("", x0 - 8, y + 7.5, fault.text, "end")
        elif scale.right - x1 > width:
            pen.text("", x1 + 8, y + 7.5, fault.text)
        elif scale.right - scale.left > width:
            pen.text("", scale.right, y + 20, fault.text, "end")
    _draw_events(pen, scale, chart, top=top + len(chart.faults) * _ROW)


def _draw_events(pen: Pen, scale: Scale, chart: Chart, *, top: float) -> None:
    shown = sorted(
        (event for event in chart.events if scale.start <= event.at <= scale.end),
        key=lambda event: (event.at, event.kind != "visit", event.kind),
    )
    free = scale.left - 6
    for index, event in enumerate(shown):
        x = max(scale.x(event.at), free)
        if x + _SIGN > scale.right + 10:
            continue
        if event.kind == "visit" and x - scale.x(event.at) < 2:
            pen.line("axis", x, top - 3 if chart.faults else scale.bottom, x, top + 4)
        draw_event(pen, event.kind, x, top + 4)
        free = x + _SIGN
        width = len(event.text) * _LETTER
        if event.text and _has_room(scale, shown[index + 1 :], free, width):
            pen.text("", free, top + 17, event.text)
            free += width + 8


def _has_room(scale: Scale, later: list[ChartEvent], at: float, width: float) -> bool:
    following = scale.x(later[0].at) if later else scale.right + 12
    beside = bool(later) and following <= at
    return at + width < scale.right + 12 and (beside or at + width < following)


def draw_event(pen: Pen, kind: str, x: float, y: float) -> None:
    """A sign 16 px high with its left edge at x."""

    def at(*moves: tuple[str, float, float]) -> str:
        return "".join(f"{verb}{number(x + dx)} {number(y + dy)}" for verb, dx, dy in moves)

    if kind == "visit":
        pen.path(
            "fine", at(("M", 0, 16), ("L", 0, 1), ("L", 11, 1), ("L", 8, 4.5), ("L", 11, 8), ("L", 0, 8))
        )
    elif kind == "dose":
        pen.path("fine", at(("M", 7, 1), ("L", 11, 8)) + _curve(x, y) + "Z")
    elif kind == "change":
        pen.path("fine", at(("M", 1, 3), ("L", 14, 3), ("L", 14, 15), ("L", 1, 15)) + "Z")
        pen.rect("ink", x + 1, y + 9, 13, 6)
    elif kind == "reagent":
        neck = at(
            ("M", 5, 1),
            ("L", 10, 1),
            ("L", 10, 5),
            ("L", 13, 8),
            ("L", 13, 15),
            ("L", 2, 15),
            ("L", 2, 8),
            ("L", 5, 5),
        )
        pen.path("fine", neck + "Z")
    else:
        pen.path("fine", at(("M", 2, 1), ("L", 2, 15), ("M", 13, 1), ("L", 13, 15)))
        pen.circle("ink", x + 7.5, y + 8, 3)


def _curve(x: float, y: float) -> str:
    """The round foot of a drop, from its right shoulder to its left one."""
    foot = [(12.5, 11), (10, 15), (7, 15), (4, 15), (1.5, 11), (3, 8)]
    pairs = " ".join(f"{number(x + dx)} {number(y + dy)}" for dx, dy in foot)
    return f"C{pairs}"
