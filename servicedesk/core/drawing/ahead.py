"""Ahead: now, a square where somebody of ours will be there, an upright where harm begins. Square first: help comes in time."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from servicedesk.core.drawing.pen import Mode, Pen

REACH_H = 72.0
"""Three days; what is further stands at the end of the line."""

LETTERS_H = (0.0, 6.0, 24.0, REACH_H)
"""Hours that are lettered."""

_INSET = 4.0
_LETTERS = 15.0


def ahead_place(hours: float, *, width: float) -> float:
    """Where a time from now stands, by square root, so that the next hours have the most room."""
    share = sqrt(min(max(hours, 0.0), REACH_H) / REACH_H)
    return _INSET + (width - 2 * _INSET) * share


def ahead_svg(
    *,
    help_h: float | None,
    harm_h: float | None,
    title: str,
    width: float = 136.0,
    height: float = 28.0,
    letters: Sequence[str] = (),
    mode: Mode = "page",
) -> str:
    """Hours from now until help and until harm; None when there is none in sight. ``title`` says it in words.
    ``letters`` are the words for the hours of ``LETTERS_H``, written above the line where they are given."""
    pen = Pen(mode)
    head = _LETTERS if letters else 0.0
    middle, end = head + height / 2, width - _INSET
    for hours, word in zip(LETTERS_H, letters, strict=False):
        anchor = "start" if hours == 0 else "end" if hours >= REACH_H else "middle"
        at = 0.0 if hours == 0 else width if hours >= REACH_H else ahead_place(hours, width=width)
        pen.text("text--soft", at, 11, word, anchor)
    harm = end if harm_h is None else ahead_place(harm_h, width=width)
    pen.line("tail", _INSET, middle, harm, middle)
    pen.line("now", _INSET, middle - 8, _INSET, middle + 8)
    if harm_h is not None:
        if harm < end:
            pen.line("harm", harm, middle, end, middle)
        pen.line("harm", harm, middle - 10, harm, middle + 10)
    if help_h is not None:
        pen.rect("ink", ahead_place(help_h, width=width) - 5, middle - 5, 10, 10)
    whole = head + height
    cls = "ahead ahead--lettered" if letters else "ahead"
    return pen.svg(width=width, height=whole, cls=cls, box=(width, whole), title=title)


def tally_svg(*, done: int, total: int, title: str, width: float = 280.0, mode: Mode = "page") -> str:
    """Progress, filled between two lines. Raises ValueError unless 0 <= done <= total and total > 0."""
    if total <= 0 or not 0 <= done <= total:
        raise ValueError(f"{done} of {total} cannot be drawn.")
    pen = Pen(mode)
    inner = width - 4
    pen.rect("glass", 2, 3, inner, 6)
    pen.rect("ink", 2, 3, inner * done / total, 6)
    pen.line("mark", 1.5, 0, 1.5, 12)
    pen.line("mark", width - 1.5, 0, width - 1.5, 12)
    return pen.svg(width=width, height=12, cls="tally__bar", box=(width, 12), title=title)
