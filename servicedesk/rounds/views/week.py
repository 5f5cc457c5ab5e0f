"""The owner's week."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from servicedesk.core.drawing.strip import DayStrip
from servicedesk.rounds import queries
from servicedesk.rounds.models import Stop
from servicedesk.rounds.views.shown import StopRow, day_strip, staff, today_of


@dataclass(frozen=True)
class WeekRow:
    """One technician on one day."""

    name: str
    day: str
    strip: DayStrip
    words: str
    over: bool
    stops: list[StopRow]


def _week_rows(stops: list[Stop], zone: str, now: datetime) -> list[WeekRow]:
    rounds: dict[UUID, list[Stop]] = {}
    for stop in stops:
        rounds.setdefault(stop.round_id, []).append(stop)
    rows = []
    for mine in rounds.values():
        row = mine[0].round
        strip_day = day_strip(row, mine, zone, now)
        end = max((s.end for s in strip_day.stops), default=strip_day.shift_end)
        over = end > strip_day.shift_end
        minutes = int((end - strip_day.shift_end).total_seconds() // 60)
        words = ngettext("%(n)s stop", "%(n)s stops", len(mine)) % {"n": len(mine)}
        if over:
            words += _(", %(m)s min over at the end") % {"m": minutes}
        shown = [
            StopRow(s, time_format(s.planned_at, "H:i"), list(s.due_visit.tanks.all()), [], [], "")
            for s in mine
        ]
        rows.append(
            WeekRow(row.technician.name, date_format(row.day, "l j F"), strip_day, words, over, shown)
        )
    return rows


@login_required
@require_GET
def week(request: HttpRequest) -> HttpResponse:
    user = staff(request)
    if not user.is_office:
        raise Http404
    wanted = None
    try:
        wanted = parse_date(request.GET.get("from", ""))
    except ValueError:
        wanted = None
    day = wanted or today_of(user)
    monday = day - timedelta(days=day.weekday())
    stops = queries.stops_on(monday, until=monday + timedelta(days=6))
    rows = _week_rows(stops, user.zone, timezone.now())
    over = sum(1 for r in rows if r.over)
    if not rows:
        lead = _("Nothing is planned for this week.")
    elif over:
        lead = ngettext(
            "The week works, but for one end of day.", "The week works, but for %(n)s ends of day.", over
        ) % {"n": over}
    else:
        lead = _("The week works.")
    context = {
        "lead": lead,
        "rows": rows,
        "monday": monday,
        "before": monday - timedelta(days=7),
        "after": monday + timedelta(days=7),
    }
    return render(request, "rounds/week.html", context)
