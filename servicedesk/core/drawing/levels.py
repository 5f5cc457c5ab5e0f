"""Levels: a value against its own two lines, scaled so that the lines of all rows stand in the same two places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from servicedesk.core.drawing.glyphs import TONE_OF
from servicedesk.core.drawing.pen import Mode, Pen

Kind = Literal["measured", "expected", "inferred", "not_tested"]

LOW_AT, HIGH_AT = 30.0, 70.0
LIMIT_LOW_AT, LIMIT_HIGH_AT = 8.0, 92.0
EDGE_LEFT, EDGE_RIGHT = 4.0, 96.0
"""Places in per cent of the drawing's width."""

_LEAN = 1.75
"""How far a leaning line stands off its place at head and foot, in per cent of the width."""

_KIND_MARKS = {"expected": "expect", "inferred": "infer", "not_tested": "none"}


@dataclass(frozen=True, slots=True)
class LevelRow:
    """One parameter: what was read, its lines, and the words that stand beside the picture.

    ``value``, ``low``, ``high``, ``alarm_low``, ``alarm_high`` and ``last`` are numbers in the row's own unit; the
    caller chooses the unit. ``state`` is a glyph's name. ``last`` is the value of the visit before. ``word`` is the
    state's word already in the reader's language; left empty, the template tag supplies it. ``trust`` is where the
    measure stands ("believed", "to_check", "not_to_act_on"), empty where that is not shown.
    """

    label: str
    value_text: str = ""
    unit: str = ""
    value: float | None = None
    low: float | None = None
    high: float | None = None
    alarm_low: float | None = None
    alarm_high: float | None = None
    last: float | None = None
    last_text: str = ""
    method: str = ""
    kind: Kind = "measured"
    state: str = "none"
    word: str = ""
    url: str = ""
    here: bool = False
    trust: str = ""
    trust_why: str = ""

    @property
    def mark(self) -> str:
        """The shape to draw: how it was come by first, then whether it may be acted on, then what it is."""
        if self.kind == "measured" and self.trust == "not_to_act_on":
            return "doubt"
        return _KIND_MARKS.get(self.kind, self.state)

    @property
    def in_doubt(self) -> bool:
        """Whether the measure is in doubt, not the water: its lines are dashed."""
        return self.mark == "check" or (self.kind == "measured" and self.trust == "to_check")

    @property
    def tone(self) -> str:
        """What is expected or worked out keeps the tone of its judgement only when that judgement is outside."""
        if self.mark == "doubt":
            return TONE_OF["doubt"]
        tone = TONE_OF.get(self.state, "ink")
        return tone if self.kind == "measured" or tone in ("out", "act") else TONE_OF[self.mark]


def _anchors(row: LevelRow) -> list[tuple[float, float]]:
    """Value and place of each line that counts, in rising order; empty when the row has no usable band."""
    low, high = row.low, row.high
    if low is None and high is None:
        return []
    if low is None:
        assert high is not None
        low = 0.0 if high > 0 else high - max(abs(high), 1.0)
    if high is None:
        high = low + max(abs(low), 1.0)
    if low >= high:
        return []
    anchors = [(low, LOW_AT), (high, HIGH_AT)]
    if row.alarm_low is not None and row.low is not None and row.alarm_low < low:
        anchors.insert(0, (row.alarm_low, LIMIT_LOW_AT))
    if row.alarm_high is not None and row.high is not None and row.alarm_high > high:
        anchors.append((row.alarm_high, LIMIT_HIGH_AT))
    return anchors


def place(value: float, row: LevelRow) -> float | None:
    """Where a value stands, in per cent of the width; straight between lines, held inside 4 to 96. None: no band."""
    anchors = _anchors(row)
    if not anchors:
        return None
    index = 0
    while index < len(anchors) - 2 and value > anchors[index + 1][0]:
        index += 1
    (v0, p0), (v1, p1) = anchors[index], anchors[index + 1]
    share = (value - v0) / (v1 - v0)
    return min(max(p0 + share * (p1 - p0), EDGE_LEFT), EDGE_RIGHT)


class _Across:
    """Turns per cents of the width into lengths: kept as per cents on a page, exact on paper."""

    def __init__(self, width: float | None, height: float) -> None:
        self.width, self.height = width, height

    def x(self, percent: float) -> str | float:
        return f"{percent:.4g}%" if self.width is None else percent * self.width / 100

    @property
    def foot(self) -> str | float:
        return "100%" if self.width is None else self.height

    @property
    def middle(self) -> str | float:
        return "50%" if self.width is None else self.height / 2


def level_svg(row: LevelRow, *, width: float | None = None, height: float = 48.0, mode: Mode = "page") -> str:
    """The picture of one row. Without a width it fills its box and all places are per cents.

    The words beside it say everything, so it is hidden from readers aloud.
    """
    pen, across = Pen(mode, row.tone), _Across(width, height)
    if _anchors(row):
        _draw_lines(pen, across, row)
    value = row.value if row.value is not None else row.last
    at = place(value, row) if value is not None else None
    if at is not None:
        if row.value is not None and row.last is not None:
            _draw_tail(pen, across, at, place(row.last, row) or at)
        pen.open_at(across.x(at), across.middle)
        _draw_mark(pen, row.mark)
        pen.close()
    if width is None:
        return pen.svg(width="100%", height="100%", cls="level")
    return pen.svg(width=width, height=height, cls="level", box=(width, height))


def _draw_lines(pen: Pen, across: _Across, row: LevelRow) -> None:
    places = {at for _, at in _anchors(row)}
    pen.rect("glass", across.x(LOW_AT), 0, across.x(HIGH_AT - LOW_AT), across.foot)
    style = "mark dash" if row.in_doubt else "mark"
    lean = _LEAN if row.mark == "doubt" else 0.0
    for edge, at in ((row.low, LOW_AT), (row.high, HIGH_AT)):
        if edge is not None:
            pen.line(style, across.x(at + lean), 0, across.x(at - lean), across.foot)
    for limit in sorted(places & {LIMIT_LOW_AT, LIMIT_HIGH_AT}):
        pen.line("limit", across.x(limit), 0, across.x(limit), across.foot)


def _draw_tail(pen: Pen, across: _Across, now_at: float, last_at: float) -> None:
    pen.line("tail", across.x(last_at), across.middle, across.x(now_at), across.middle)
    pen.open_at(across.x(last_at), across.middle)
    pen.line("tail", 0, -6, 0, 6)
    pen.close()


_TRIANGLES = {
    "low": "M-8.5-7H8.5L0 7.5Z",
    "high": "M-8.5 7H8.5L0-7.5Z",
    "under": "M-8.5-12H8.5L0-.5ZM-8.5 1H8.5L0 12.5Z",
    "over": "M-8.5-1H8.5L0-12.5ZM-8.5 12H8.5L0 .5Z",
}


def _draw_mark(pen: Pen, mark: str) -> None:
    """One mark at the origin, in the shape of its state."""
    if mark in _TRIANGLES:
        pen.path("solid", _TRIANGLES[mark])
    elif mark == "again":
        pen.circle("hollow", 0, 0, 7)
        pen.circle("solid", 0, 0, 2.5)
    elif mark == "expect":
        pen.circle("hollow dotted", 0, 0, 6)
    elif mark == "infer":
        pen.path("hollow", "M0-7.5L7.5 0 0 7.5-7.5 0Z")
    elif mark == "none":
        pen.circle("hollow", 0, 0, 5)
    elif mark == "doubt":
        pen.circle("hollow", 0, 0, 6)
    else:
        pen.circle("solid", 0, 0, 6.75)
