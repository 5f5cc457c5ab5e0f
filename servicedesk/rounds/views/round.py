"""The technician's round of the day, looking up a tank, and the key on a tap."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from clients.actions import log_key_look
from clients.queries import tanks_for
from servicedesk.rounds import queries
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Round, Stop
from servicedesk.rounds.queries.calendar import address_of, calendar_of, whose
from servicedesk.rounds.views.shown import day_strip, driver_of, moment, staff, stop_rows, today_of
from servicedesk.staff.queries import technicians


def _done_by(round_row: Round, to_go: list[Stop], now: datetime) -> datetime:
    """When the last of these stops is done: as planned, or from now on where the day runs behind."""
    free = now
    for stop in to_go:
        if stop.state == StopState.UNDER_WAY and stop.arrived_at is not None:
            free = max(now, stop.arrived_at + timedelta(minutes=stop.minutes))
            continue
        planned = moment(round_row.day, stop.planned_at, str(now.tzinfo))
        free = max(planned, free + timedelta(minutes=stop.drive_minutes)) + timedelta(minutes=stop.minutes)
    return free.astimezone(now.tzinfo)


def _lead(round_row: Round | None, stops: list[Stop], now: datetime) -> tuple[str, str]:
    if round_row is None or not stops:
        return _("No stops today."), _("The office has planned nothing for you.")
    to_go = [s for s in stops if s.state in (StopState.PLANNED, StopState.UNDER_WAY)]
    if not to_go:
        return _("All stops are done."), ""
    bold = ngettext("One stop to go,", "%(n)s stops to go,", len(to_go)) % {"n": len(to_go)}
    return bold, _("done at the last by %(time)s.") % {
        "time": time_format(_done_by(round_row, to_go, now).time(), "H:i")
    }


@login_required
@require_GET
def today(request: HttpRequest) -> HttpResponse:
    user = staff(request)
    driver = driver_of(request, user)
    day = today_of(user)
    round_row, stops = queries.round_of(driver, day)
    rows = stop_rows(stops, day)
    open_rows = [r for r in rows if r.stop.state in (StopState.PLANNED, StopState.UNDER_WAY)]
    first = next(
        (r for r in open_rows if r.stop.state == StopState.UNDER_WAY), open_rows[0] if open_rows else None
    )
    bold, rest = _lead(round_row, stops, timezone.now().astimezone(ZoneInfo(user.zone)))
    context: dict[str, Any] = {
        "driver": driver,
        "bold": bold,
        "rest": rest,
        "strip": day_strip(round_row, stops, user.zone, timezone.now()) if round_row and stops else None,
        "map": queries.map_of(stops),
        "first": first,
        "under_way": first is not None and first.stop.state == StopState.UNDER_WAY,
        "own": driver == user,
        "entry": uuid4(),
        "told": queries.told(user, today=day),
        "rows": [r for r in open_rows if r is not first],
        "behind": [r for r in rows if r.stop.state == StopState.CLOSED],
        "people": technicians() if user.is_office else [],
        "coming": queries.coming_days(driver, after=day) if driver == user and user.is_technician else [],
        "calendar": address_of(user) if driver == user and user.is_technician else "",
    }
    return render(request, "rounds/today.html", context)


@login_required
@require_POST
def key(request: HttpRequest, visit: UUID) -> HttpResponse:
    """The key or code of a site: to the office, and to the technician of that stop on its day until it is called
    off. The look is kept."""
    user = staff(request)
    stop = queries.stop_for(user, visit)
    if user.is_technician and not queries.opens_its_door(stop, on=today_of(user)):
        raise Http404
    log_key_look(site=stop.due_visit.site, user=user, at=timezone.now())
    return render(request, "rounds/key.html", {"site": stop.due_visit.site, "visit_id": visit})


@login_required
@require_GET
def look_up(request: HttpRequest) -> HttpResponse:
    user = staff(request)
    query = request.GET.get("q", "").strip()[:60]
    tanks = tanks_for(user, on=today_of(user)).filter(retired_on__isnull=True)
    if query:
        tanks = tanks.filter(name__icontains=query) | tanks.filter(site__name__icontains=query)
    return render(request, "rounds/look_up.html", {"query": query, "tanks": tanks[:60]})


@require_GET
def calendar(request: HttpRequest, key: UUID, tag: str) -> HttpResponse:
    """A technician's rounds for a calendar program, which does not sign in: the address is the secret."""
    user = whose(key, tag)
    if user is None:
        raise Http404
    answer = HttpResponse(calendar_of(user, at=timezone.now()), content_type="text/calendar; charset=utf-8")
    answer["Cache-Control"] = "private, no-store"
    return answer
