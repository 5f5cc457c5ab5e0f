"""The day as a strip, written at once: a page of a week draws many, and a template for each would cost more than the drawing."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext

from servicedesk.core.drawing.strip import DayStrip, StripStop, still, strip_svg, with_now

WIDTHS = (340, 600, 840)
"""Widths in px for which a drawing is made: a telephone, a column, a page. The style sheet shows the one that fits."""


@lru_cache(maxsize=2048)
def _svg(day: DayStrip, width: float, names: bool) -> str:
    """A day's drawing is kept by what it shows, without the clock where that can be put in afterwards."""
    return strip_svg(day, width=width, names=names)


@lru_cache(maxsize=1024)
def _spoken_list(day: DayStrip) -> SafeString:
    """The stops in words, for those who listen."""
    stop, apart = gettext("Stop %(number)s, %(name)s, %(start)s to %(end)s"), ", " + gettext("in isolation")
    return format_html_join(
        "", "<li>{}{}</li>", ((stop % _said(row), apart if row.isolated else "") for row in day.stops)
    )


def _said(stop: StripStop) -> dict[str, object]:
    return {
        "number": stop.number,
        "name": stop.name,
        "start": f"{stop.start:%H:%M}",
        "end": f"{stop.end:%H:%M}",
    }


def strip(day: DayStrip, names: bool = False, columns: bool = False) -> SafeString:
    """``{% strip day %}``: a day as one line, and the same as a list for those who listen; `columns`: never wider than a column. Times are lettered
    as they are given: hand them in local time."""
    now = day.now and day.now.replace(second=0, microsecond=0)
    shown = replace(day, stops=tuple(day.stops), now=now)
    bare = still(shown)
    drawn = [(width, _svg(bare, width, names)) for width in (WIDTHS[:2] if columns else WIDTHS)]
    if bare.now != now:
        drawn = [(width, with_now(svg, shown, width=width)) for width, svg in drawn]
    pictures = format_html_join(
        "",
        '<div class="drawn__{}">{}</div>',
        ((number, mark_safe(svg)) for number, (_width, svg) in enumerate(drawn, 1)),  # noqa: S308  the drawing escapes every word
    )
    return format_html(
        '<div class="strip"><div class="drawn">{}</div><ol class="unseen">{}</ol></div>',
        pictures,
        _spoken_list(replace(bare, now=None)),
    )
