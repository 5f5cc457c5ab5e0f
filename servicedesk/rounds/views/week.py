"""The owner's week, and putting a visit on somebody's day."""

from dataclasses import dataclass
from datetime import date, time, timedelta
from functools import lru_cache
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from servicedesk.core.drawing.strip import DayStrip
from servicedesk.rounds import actions, queries
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.forms import PlaceForm
from servicedesk.rounds.models import DueVisit, Move
from servicedesk.rounds.queries.proposed import proposals_of
from servicedesk.rounds.queries.telling import to_be_called
from servicedesk.rounds.queries.totals import WeekTotal, span, week_total
from servicedesk.rounds.views.shown import staff, strip_of, today_of
from servicedesk.staff.models import User


@dataclass(frozen=True, eq=False)
class StopLine:
    """A stop as one may move it."""

    due_visit: UUID
    time: str
    name: str
    minutes: int
    state: str
    moves: bool


@dataclass(frozen=True, eq=False)
class DayRow:
    """One technician on one day, in words. The same row as long as nothing of it changes, so that what is drawn of it can be kept."""

    technician: UUID
    name: str
    day: str
    short_day: str
    date: date
    strip: DayStrip
    stops: list[StopLine]
    count: int
    first: str
    end: str
    driving: str
    work: str
    wrong: list[str]


@lru_cache(maxsize=512)
def _row(day: queries.Day, zone: str) -> DayRow:
    row = day.round
    stops = [
        StopLine(
            due_visit=t.stop.due_visit,
            time=f"{t.start:%H:%M}",
            name=t.name,
            minutes=t.stop.minutes,
            state=str(StopState(t.stop.state).label),
            moves=t.stop.state == StopState.PLANNED,
        )
        for t in sorted(day.stops, key=lambda t: (t.stop.order, t.start))
    ]
    return DayRow(
        technician=row.technician,
        name=row.name,
        day=date_format(row.day, "l j F"),
        short_day=date_format(row.day, "D j M"),
        date=row.day,
        strip=strip_of(day, zone),
        stops=stops,
        count=len(day.stops),
        first=f"{day.first:%H:%M}" if day.first else "",
        end=f"{day.end:%H:%M}" if day.end else "",
        driving=span(day.driving),
        work=span(day.work),
        wrong=[f"{capfirst(words)}." for words in day.wrong],
    )


def _day_alone(request: HttpRequest, total: WeekTotal, today: date) -> date:
    """Of a week with many rounds the day that is shown: the one asked for, else today, else the first with a round."""
    days = [day.day for day in total.days if day.rounds]
    asked = _day_in(request, "day") or _day_in(request, "map") or today
    return asked if asked in days else days[0]


def _lead(days: list[DayRow], homeless: int, alone: date | None = None) -> str:
    """The week, or the day of it that is shown, in one sentence."""
    bad = sum(1 for row in days if row.wrong)
    if not days and not homeless:
        return _("Nothing is planned for this week.")
    said = []
    if bad:
        words = ngettext("one day", "%(n)s days", bad)
        if alone is not None:
            words = ngettext("one round", "%(n)s rounds", bad)
        said.append(words % {"n": bad})
    if homeless:
        said.append(ngettext("one visit on no round", "%(n)s visits on no round", homeless) % {"n": homeless})
    if not said:
        return (
            _("The week works.") if alone is None else _("%(day)s works.") % {"day": date_format(alone, "l")}
        )
    if alone is not None:
        given = {"day": date_format(alone, "l"), "what": _(" and ").join(said)}
        return _("%(day)s works, but for %(what)s.") % given
    return _("The week works, but for %(what)s.") % {"what": _(" and ").join(said)}


def _day_in(request: HttpRequest, name: str) -> date | None:
    try:
        return parse_date(request.GET.get(name, ""))
    except ValueError:
        return None


@login_required
@require_GET
def week(request: HttpRequest) -> HttpResponse:
    user = staff(request)
    if not user.is_office:
        raise Http404
    day, mapped = _day_in(request, "from") or today_of(user), _day_in(request, "map")
    try:
        monday = day - timedelta(days=day.weekday())
        before, after, last = (monday + timedelta(days=n) for n in (-7, 7, 6))
    except OverflowError:
        raise Http404
    total, now = week_total(monday), timezone.now()
    alone = _day_alone(request, total, today_of(user)) if total.large else None
    first, until = alone or monday, alone or last
    minute = now.replace(second=0, microsecond=0)
    days = queries.days_of(first, until, zone=ZoneInfo(user.zone), now=minute)
    rows = [_row(day, user.zone) for day in days if day.stops]
    homeless = queries.unplaced(first=monday, last=last)
    context = {
        "lead": _lead(rows, len(homeless), alone),
        "alone": alone,
        "others": [day for day in total.days if day.rounds and day.day != alone] if alone else [],
        "against": total.numbers(),
        "mapped": mapped,
        "map": queries.map_of_days(day for day in days if day.round.day == mapped),
        "rows": rows,
        "homeless": homeless,
        "waiting": queries.waiting_moves(first=monday, last=last),
        "calls": to_be_called(first=monday, last=last, today=today_of(user)),
        "monday": monday,
        "proposals": proposals_of(first=monday, last=last),
        "may_plan": last > today_of(user),
        "before": before,
        "after": after,
    }
    return render(request, "rounds/week.html", context)


def _start(visit: DueVisit) -> dict[str, Any]:
    """What the form begins with: where it stands, else its due day with its plan's technician and time."""
    stop = getattr(visit, "stop", None)
    if stop is not None:
        return {
            "technician": stop.round.technician_id,
            "day": stop.round.day,
            "planned_at": stop.planned_at,
            "order": stop.order,
        }
    plan = visit.plan
    return {
        "technician": plan.technician_id if plan else None,
        "day": visit.due,
        "planned_at": (plan.preferred_time if plan else None) or time(9, 0),
    }


def _said_of(move: Move) -> str:
    names = {"site": move.due_visit.site.name, "who": move.technician.name}
    if move.applied_at is not None and move.off:
        return _("%(site)s is off the round of %(who)s and still owed. It is told there.") % names
    if move.applied_at is not None:
        return _("%(site)s stands on the round of %(who)s. It is told there.") % names
    waits = [n.person.name for n in move.notices.select_related("person").filter(needed=True).order_by("pk")]
    return _("Asked: a round has begun, so %(site)s moves when %(names)s accepts.") % {
        **names,
        "names": _(" and ").join(waits),
    }


def _take_off(request: HttpRequest, owed: DueVisit, user: User) -> HttpResponse:
    try:
        messages.success(request, _said_of(actions.take_off(due_visit=owed, by=user, at=timezone.now())))
    except actions.NotPlanned as wrong:
        messages.error(request, str(wrong))
    return redirect(f"{reverse('rounds:week')}?from={owed.due.isoformat()}")


@login_required
def place(request: HttpRequest, visit: UUID) -> HttpResponse:
    """Put a visit on a technician's day, or move it (the office)."""
    user = staff(request)
    owed = queries.owed_visit_for(user, visit)
    if "off" in request.POST:
        return _take_off(request, owed, user)
    form = PlaceForm(request.POST or None, initial=_start(owed))
    if request.method == "POST" and form.is_valid():
        try:
            move = actions.place(
                due_visit=owed, by=user, today=today_of(user), at=timezone.now(), **form.cleaned_data
            )
        except actions.NotPlanned as wrong:
            form.add_error(None, str(wrong))
        else:
            messages.success(request, _said_of(move))
            return redirect(f"{reverse('rounds:week')}?from={move.day.isoformat()}")
    context = {"form": form, "owed": owed, "back": f"{reverse('rounds:week')}?from={owed.due.isoformat()}"}
    return render(request, "rounds/place.html", context)


@login_required
@require_POST
def accept(request: HttpRequest, key: UUID) -> HttpResponse:
    """A technician accepts what the office changed."""
    user = staff(request)
    move = actions.accept(notice=queries.notice_for(user, key), at=timezone.now())
    if move.withdrawn_at is not None:
        messages.info(request, _("The visit has begun meanwhile: it stays where it is."))
    return redirect("rounds:today")
