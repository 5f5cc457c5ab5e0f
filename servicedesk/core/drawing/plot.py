"""A chart drawn: band as glass with two labelled lines, limits dotted, time at the foot, a gap left as a gap.

Made for the width at which it is shown, so that lettering of 13 px stays 13 px.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from math import ceil, floor, log10

from servicedesk.core.drawing.chart import Chart, ChartSeries
from servicedesk.core.drawing.feet import draw_feet, feet_height
from servicedesk.core.drawing.pen import Mode, Pen, number, points
from servicedesk.core.drawing.scale import Scale, thinned

_LEFT, _RIGHT, _TOP, _AXIS = 44.0, 12.0, 22.0, 22.0
_LETTERING = 19.0
"""Room that words need under a line; with less they stand above it."""
_STEPS = tuple(
    timedelta(hours=hours) for hours in (1, 2, 3, 6, 12, 24, 48, 168, 336, 672, 1344, 2184, 4368, 8736)
)


def chart_svg(chart: Chart, *, width: float = 690.0, height: float = 250.0, mode: Mode = "page") -> str:
    """The drawing, ``width`` px wide; ``height`` is that of the plot with its axis, and rows below it are added.

    The title is its name when read aloud. Without any value it says so in a sentence.
    """
    pen = Pen(mode)
    scale = _scale(chart, width, height)
    if scale is None:
        pen.text("text--soft", _LEFT, height / 2, chart.words.nothing)
        return pen.svg(width=width, height=height, cls="plot", box=(width, height), title=chart.title)
    _draw_band(pen, scale, chart)
    _draw_axis(pen, scale, chart)
    _draw_estimate(pen, scale, chart)
    for series in chart.series:
        _draw_series(pen, scale, chart, series)
    whole = height + feet_height(chart)
    draw_feet(pen, scale, chart, top=height)
    if chart.now is not None and scale.start <= chart.now <= scale.end:
        x = scale.x(chart.now)
        pen.line("now", x, _TOP - 14, x, scale.bottom)
        near_edge = x > width - 60
        pen.text(
            "text--ask",
            x - 6 if near_edge else x + 6,
            _TOP - 6,
            chart.words.now,
            "end" if near_edge else "start",
        )
    return pen.svg(width=width, height=whole, cls="plot", box=(width, whole), title=chart.title)


def _scale(chart: Chart, width: float, height: float) -> Scale | None:
    """Both scales, or None when there is nothing to draw."""
    if chart.is_empty:
        return None
    times = [at for series in chart.series for at, _value in series.points] + [
        point.at for point in chart.estimate
    ]
    start = chart.start or min(times)
    end = chart.end or max([*times, *([chart.now] if chart.now else [])])
    if end <= start:
        start, end = start - timedelta(hours=12), start + timedelta(hours=12)
    low, high = _range(chart)
    return Scale(start, end, low, high, _LEFT, width - _RIGHT, _TOP, height - _AXIS)


def _range(chart: Chart) -> tuple[float, float]:
    """Lowest and highest value to show: all that was measured, the band, and a limit when it is not far off."""
    values = [value for series in chart.series for _at, value in series.points]
    values += [edge for point in chart.estimate for edge in (point.low, point.high)]
    values += [line for line in (chart.low, chart.high) if line is not None]
    low, high = min(values), max(values)
    reach = 0.6 * (high - low)
    for limit in (chart.limit_low, chart.limit_high):
        if limit is not None and low - reach <= limit <= high + reach:
            low, high = min(low, limit), max(high, limit)
    room = 0.08 * (high - low) or max(abs(high) * 0.05, 0.5)
    return low - room, high + room


def _draw_band(pen: Pen, scale: Scale, chart: Chart) -> None:
    left, right = scale.left, scale.right
    if chart.low is not None and chart.high is not None and chart.low < chart.high:
        pen.rect("glass", left, scale.y(chart.high), right - left, scale.y(chart.low) - scale.y(chart.high))
    for value, words, lift in ((chart.high, chart.words.high, -6.0), (chart.low, chart.words.low, 16.0)):
        if value is not None:
            if lift > 0 and scale.bottom - scale.y(value) < _LETTERING:
                lift = -6.0
            pen.line("mark", left, scale.y(value), right, scale.y(value))
            pen.text("", left + 8, scale.y(value) + lift, words.format(chart.name_value(value)))
    for limit, lift in ((chart.limit_high, -6.0), (chart.limit_low, 16.0)):
        if limit is not None and scale.low < limit < scale.high:
            y = scale.y(limit)
            pen.line("danger", left, y, right, y)
            lifted = y + (lift if y + lift < scale.bottom - 2 else -6.0)
            pen.text("", left + 8, lifted, chart.words.limit.format(chart.name_value(limit)))


def _draw_axis(pen: Pen, scale: Scale, chart: Chart) -> None:
    pen.line("axis", scale.left, scale.bottom, scale.right, scale.bottom)
    for value in value_letters(scale.low, scale.high):
        pen.text("text--soft", scale.left - 8, scale.y(value) + 4.5, chart.name_value(value), "end")
    step, letters = time_letters(chart, scale)
    for at in letters:
        x = scale.x(at)
        pen.line("axis", x, scale.bottom, x, scale.bottom + 4)
        anchor = "start" if x < scale.left + 16 else "end" if x > scale.right - 16 else "middle"
        pen.text("text--soft", x, scale.bottom + 17, chart.name_time(at, step), anchor)


def value_letters(low: float, high: float) -> list[float]:
    """Round values between low and high, at least two and at most five, a 1-2-5 step apart."""
    rough = (high - low) / 4
    power = 10.0 ** floor(log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough * 0.999999)
    first = ceil(low / step - 1e-9)
    return [round(index * step, 10) for index in range(first, floor(high / step + 1e-9) + 1)]


def time_letters(chart: Chart, scale: Scale) -> tuple[timedelta, list[datetime]]:
    """The step between two letters and the moments to letter: whole hours or midnights of the chart's zone."""
    most = max(2, int((scale.right - scale.left) // 78))
    span = scale.end - scale.start
    step = next((step for step in _STEPS if span / step <= most), _STEPS[-1])
    start = scale.start.astimezone(chart.zone) if chart.zone else scale.start
    at = start.replace(hour=0, minute=0, second=0, microsecond=0)
    letters = []
    while at <= scale.end:
        if at >= scale.start:
            letters.append(at)
            at += step
        else:
            at += min(step, timedelta(days=1))
    return step, letters


def _draw_estimate(pen: Pen, scale: Scale, chart: Chart) -> None:
    """The veil and its line, stopped at a gap; what lies ahead of now is dashed."""
    for told in chart.estimate_runs():
        if len(told) < 2:
            continue
        upper = [(scale.x(point.at), scale.y(point.high)) for point in told]
        lower = [(scale.x(point.at), scale.y(point.low)) for point in reversed(told)]
        pen.path("veil", points(upper + lower) + "Z")
        behind = [point for point in told if chart.now is None or point.at <= chart.now]
        ahead = told[max(len(behind) - 1, 0) :]
        for style, stretch in (("curve", behind), ("curve dash", ahead)):
            if len(stretch) > 1:
                pen.path(style, points([(scale.x(point.at), scale.y(point.value)) for point in stretch]))


def _draw_series(pen: Pen, scale: Scale, chart: Chart, series: ChartSeries) -> None:
    runs = series.runs()
    if series.marker in ("probe", "titrator"):
        for before, after in zip(runs, runs[1:], strict=False):
            _draw_gap(pen, scale, chart, before[-1], after[0])
    joins = "curve" if series.marker == "probe" else "thin"
    columns = int(scale.right - scale.left)
    for run in runs:
        places = thinned([(scale.x(at), scale.y(value)) for at, value in run], columns)
        if series.joined and len(places) > 1:
            pen.path(joins, points(places))
        if series.marker == "titrator" and pen.mode == "page":
            pen.path("dots", "".join(f"M{number(x)} {number(y)}h0" for x, y in places))
        elif series.marker != "probe":
            for x, y in places:
                draw_marker(pen, series.marker, x, y)
        elif len(places) == 1:
            pen.circle("ink", *places[0], 2.5)


def _draw_gap(
    pen: Pen, scale: Scale, chart: Chart, before: tuple[datetime, float], after: tuple[datetime, float]
) -> None:
    """Two dotted uprights about the last and the next value, and how long nothing was heard."""
    x0, x1 = scale.x(before[0]), scale.x(after[0])
    heights = (scale.y(before[1]), scale.y(after[1]))
    top, foot = max(min(heights) - 30, scale.top), min(max(heights) + 30, scale.bottom)
    for x in (x0, x1):
        pen.line("gap", x, top, x, foot)
    hours = (after[0] - before[0]).total_seconds() / 3600
    words = (
        chart.words.silent_h.format(round(hours))
        if hours < 48
        else chart.words.silent_d.format(round(hours / 24))
    )
    room = len(words) * 3.8
    if scale.left + room < (x0 + x1) / 2 < scale.right - room:
        pen.text("text--ask", (x0 + x1) / 2, top - 6, words, "middle")


def draw_marker(pen: Pen, marker: str, x: float, y: float) -> None:
    """One value in the sign of its method."""
    if marker == "titrator":
        pen.circle("ink", x, y, 2.25)
    elif marker == "photometer":
        pen.rect("open", x - 5, y - 5, 10, 10)
    elif marker == "titration":
        left, right, top, foot = (number(edge) for edge in (x - 5, x + 5, y - 5, y + 5))
        pen.path("cross", f"M{left} {top}L{right} {foot}M{right} {top}L{left} {foot}")
    elif marker == "laboratory":
        pen.circle("open", x, y, 6)
        pen.circle("ink", x, y, 2)
    elif marker == "strip":
        pen.line("cross", x - 6, y, x + 6, y)
    else:
        pen.line("curve", x - 8, y, x + 8, y)


def marker_svg(marker: str, *, mode: Mode = "page") -> str:
    """A method's sign alone, for the key under a chart."""
    pen = Pen(mode)
    draw_marker(pen, marker, 10, 8)
    return pen.svg(width=20, height=16, cls="plot__sign", box=(20, 16))
