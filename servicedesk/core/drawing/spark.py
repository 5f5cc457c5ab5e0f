"""A small trend: the band as glass, the values as a line, the last one as a dot. No letters: its row speaks."""

from __future__ import annotations

from collections.abc import Sequence

from servicedesk.core.drawing.pen import Mode, Pen, points


def spark_svg(
    values: Sequence[float | None],
    *,
    low: float | None,
    high: float | None,
    title: str,
    width: float = 120.0,
    height: float = 28.0,
    mode: Mode = "page",
) -> str:
    """Values at even steps, oldest first; None is a gap and is never joined. No values: a dash."""
    pen = Pen(mode)
    known = [value for value in values if value is not None]
    if not known:
        pen.line("tail", width / 2 - 6, height / 2, width / 2 + 6, height / 2)
        return pen.svg(width=width, height=height, cls="spark", box=(width, height), title=title)
    bottom, top = _range(known, low, high)

    def y(value: float) -> float:
        return 4 + (height - 8) * (top - value) / (top - bottom)

    def x(index: int) -> float:
        return width / 2 if len(values) == 1 else 4 + (width - 8) * index / (len(values) - 1)

    if low is not None and high is not None and low < high:
        pen.rect("glass", 0, y(high), width, y(low) - y(high))
    for line in (low, high):
        if line is not None:
            pen.line("mark", 0, y(line), width, y(line))
    for run in _runs(values):
        pen.path("curve", points([(x(index), y(value)) for index, value in run]))
    last = max(index for index, value in enumerate(values) if value is not None)
    pen.circle("ink", x(last), y(known[-1]), 3.25)
    return pen.svg(width=width, height=height, cls="spark", box=(width, height), title=title)


def _range(known: list[float], low: float | None, high: float | None) -> tuple[float, float]:
    everything = known + [line for line in (low, high) if line is not None]
    bottom, top = min(everything), max(everything)
    if bottom == top:
        return bottom - 1, top + 1
    return bottom, top


def _runs(values: Sequence[float | None]) -> list[list[tuple[int, float]]]:
    """Stretches of two values or more that stand side by side."""
    runs: list[list[tuple[int, float]]] = [[]]
    for index, value in enumerate(values):
        if value is None:
            runs.append([])
        else:
            runs[-1].append((index, value))
    return [run for run in runs if len(run) > 1]
