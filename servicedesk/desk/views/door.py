"""The client's door: is it well, what happens next, what do you want from me. Own tanks and nothing else.

What stands here comes from reports that were let go, never from what is not out yet."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clients.models import Tank
from clients.queries import get_tank_for, tanks_for
from reports.models import Report
from reports.queries.answers import asked_of
from reports.queries.pages import TankTold, latest_report_of, tank_told
from servicedesk.rounds.queries import next_visits_of
from servicedesk.staff.models import User
from servicedesk.staff.queries import business
from servicedesk.visits.queries import last_closed


@dataclass(frozen=True)
class DoorRow:
    """One tank on the first page."""

    tank: Tank
    url: str
    state: str
    word: str
    sentence: str
    next_visit: str
    day: str = ""
    """Of which visit this tells."""
    later: str = ""
    """That somebody was there since, and that its report is still to come."""


def _client(request: HttpRequest) -> User:
    user = request.user
    if not isinstance(user, User) or not user.is_client:
        raise Http404
    return user


def _today(at: datetime) -> date:
    return at.astimezone(ZoneInfo(business().zone)).date()


def _next_words(tank: Tank, days: dict[UUID, date], today: date) -> str:
    day = days.get(tank.pk)
    if day is None:
        return _("No visit is planned yet. We ring you.")
    if day == today:
        return _("We are with you today.")
    return _("We come on %(day)s.") % {"day": date_format(day, "l j F")}


def _later(tank: Tank, told: TankTold | None, last: dict[UUID, datetime]) -> str:
    """Where the last visit's report is not out yet, that it is still to come: never what it will say."""
    at = last.get(tank.pk)
    if told is None or at is None or at <= told.report.visit.arrived_at:
        return ""
    day = date_format(at.astimezone(ZoneInfo(business().zone)), "j F")
    return _("We were there on %(day)s; the report of that visit is being checked and follows.") % {
        "day": day
    }


def _row(tank: Tank, told: TankTold | None, when: str, last: dict[UUID, datetime]) -> DoorRow:
    url = reverse("desk:door_tank", args=[tank.pk])
    if told is None:
        return DoorRow(tank, url, "none", _("No report yet"), "", when)
    later = _later(tank, told, last)
    return DoorRow(tank, url, told.state, told.word, told.sentence, when, told.day, later)


def _days(tanks: list[Tank], today: date) -> dict[UUID, date]:
    return next_visits_of(tanks, after=today - timedelta(days=1))


@login_required
def door(request: HttpRequest) -> HttpResponse:
    """All own tanks; a client with one tank is led to it."""
    user, at = _client(request), timezone.now()
    today = _today(at)
    tanks = list(tanks_for(user, on=today))
    if len(tanks) == 1:
        return redirect("desk:door_tank", tanks[0].pk)
    reports = latest_report_of(user, [t.pk for t in tanks])
    days = _days(tanks, today)
    last = last_closed(tanks)
    rows = [_row(t, _told(t, reports), _next_words(t, days, today), last) for t in tanks]
    uneasy = sum(row.state not in ("in", "none") for row in rows)
    known = any(row.state != "none" for row in rows)
    context = {
        "rows": rows,
        "uneasy": uneasy,
        "later": any(row.later for row in rows),
        "known": known,
        "house": business(),
        "business_name": business().name,
    }
    return render(request, "door/tanks.html", context)


def _told(tank: Tank, reports: dict[UUID, Report]) -> TankTold | None:
    report = reports.get(tank.pk)
    return tank_told(report, tank.pk) if report is not None else None


@login_required
def tank(request: HttpRequest, key: UUID) -> HttpResponse:
    """One own tank."""
    user, at = _client(request), timezone.now()
    today = _today(at)
    row = get_tank_for(user, key, on=today)
    house = business()
    told = _told(row, latest_report_of(user, [row.pk]))
    context = {
        "tank": row,
        "told": told,
        "later": _later(row, told, last_closed([row])),
        "asks": asked_of(told.report, user) if told else [],
        "next_visit": _next_words(row, _days([row], today), today),
        "several": tanks_for(user, on=today).count() > 1,
        "house": house,
        "business_name": house.name,
    }
    return render(request, "door/tank.html", context)
