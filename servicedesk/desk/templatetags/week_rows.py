"""What a page of a week repeats for every technician and every stop, written at once and kept by what it says."""

from __future__ import annotations

from functools import cache, lru_cache
from html import escape
from uuid import UUID

from django import template
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext, ngettext

from servicedesk.desk.templatetags.strips import strip
from servicedesk.rounds.views.week import DayRow

register = template.Library()
NOBODY = UUID(int=0)
BROKEN, LINE = SafeString(' data-tone="out"'), SafeString("<br>")


@cache
def _way_to(name: str) -> tuple[str, str]:
    """An address with one key in it, before and after the key."""
    before, after = reverse(name, args=[NOBODY]).split(str(NOBODY))
    return before, after


def address(name: str, key: UUID) -> str:
    """The address of that name for this key."""
    before, after = _way_to(name)
    return f"{before}{key}{after}"


def counted(stops: int) -> str:
    """So many stops, in words."""
    return ngettext("one stop", "%(n)s stops", stops) % {"n": stops}


def _stops(row: DayRow) -> SafeString:
    """Its stops in their order; one that has not begun may be moved. Keys and numbers are ours, all else is escaped."""
    move, moving = escape(gettext("Move")), ' · <a href="{}">{}<span class="unseen"> {}</span></a>'
    lines = []
    for stop in row.stops:
        name = escape(stop.name)
        link = moving.format(address("rounds:place", stop.due_visit), move, name) if stop.moves else ""
        lines.append(
            f'<li class="row row--plain"><span>{stop.time} {name}</span>'
            f'<span class="note">{stop.minutes} min · {escape(stop.state)}{link}</span></li>'
        )
    return mark_safe("".join(lines))  # noqa: S308  each word in it is escaped


@register.simple_tag
@lru_cache(maxsize=512)
def week_row(row: DayRow) -> SafeString:
    """``{% week_row row %}``: a technician's day: what is wrong, the strip, its stops to move one."""
    return format_html(
        '<div class="week-row"{}><div class="row row--plain"><div class="row__words"><p class="row__subject">{}</p>{}</div>'
        '<p class="row__end note">{}</p></div>{}<details class="why"><summary>{}<span class="unseen"> {}</span></summary>'
        '<ol class="rows">{}</ol><p class="acts"><a href="{}?day={}">{}<span class="unseen"> {}, {}</span></a></p></details></div>',
        BROKEN if row.wrong else "",
        row.name,
        format_html_join("", '<p class="said">{}</p>', ((words,) for words in row.wrong)),
        counted(row.count),
        strip(row.strip),
        gettext("Stops, to move one"),
        row.name,
        _stops(row),
        address("reports:run_sheet", row.technician),
        row.date.isoformat(),
        gettext("Print the run sheet"),
        row.name,
        row.day,
    )


@register.simple_tag
@lru_cache(maxsize=512)
def week_line(row: DayRow) -> SafeString:
    """``{% week_line row %}``: the same day as a line of the table."""
    numbers = (row.count, row.first, row.end, row.driving, row.work)
    return format_html(
        '<tr><th scope="row" class="week__name">{}</th><td class="week__name">{}</td>{}<td class="week__wrong">{}</td></tr>',
        row.name,
        row.short_day,
        format_html_join("", '<td class="number">{}</td>', ((number,) for number in numbers)),
        format_html_join(LINE, "{}", ((words,) for words in row.wrong))
        or format_html('<span class="soft">{}</span>', gettext("nothing")),
    )
