"""The technician's round and load, the owner's week, and the key on a tap."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from clients.actions import log_key_look
from clients.models import Tank
from clients.queries import tanks_for
from servicedesk.core.drawing.strip import DayStrip, StripStop
from servicedesk.rounds import queries
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Round, Stop
from servicedesk.staff.models import User
from servicedesk.staff.queries import technicians
from servicedesk.upkeep.queries import open_tasks_of

DRAWN = {StopState.PLANNED: "planned", StopState.UNDER_WAY: "there", StopState.CLOSED: "done"}


def _staff(request: HttpRequest) -> User:
    user = request.user
    if not isinstance(user, User) or not (user.is_office or user.is_technician):
        raise Http404
    return user


def _today(user: User) -> date:
    return timezone.now().astimezone(ZoneInfo(user.zone)).date()


def _moment(day: date, at: time, zone: str) -> datetime:
    return datetime.combine(day, at, tzinfo=ZoneInfo(zone))


def day_strip(round_row: Round, stops: list[Stop], zone: str, now: datetime) -> DayStrip:
    """A round as it was driven so far and is planned from here."""
    drawn = []
    for stop in stops:
        if stop.state == StopState.CALLED_OFF:
            continue
        start = stop.arrived_at or _moment(round_row.day, stop.planned_at, zone)
        end = stop.left_at or start + timedelta(minutes=stop.minutes)
        drawn.append(
            StripStop(
                number=stop.order,
                name=stop.due_visit.site.name,
                start=start.astimezone(ZoneInfo(zone)),
                end=max(end, start + timedelta(minutes=1)).astimezone(ZoneInfo(zone)),
                state=DRAWN[StopState(stop.state)],  # type: ignore[arg-type]
                isolated=stop.due_visit.isolated,
            )
        )
    drawn.sort(key=lambda stop: (stop.start, stop.number))
    return DayStrip(
        shift_start=_moment(round_row.day, round_row.starts, zone),
        shift_end=_moment(round_row.day, round_row.ends, zone),
        stops=drawn,
        now=now.astimezone(ZoneInfo(zone)),
        title=_("The day of %(name)s") % {"name": round_row.technician.name},
    )


@dataclass(frozen=True)
class StopRow:
    """A stop as a row: its time, what is due there, what to carry."""

    stop: Stop
    time: str
    tanks: list[Tank]
    due: list[str]
    carry: list[str]
    glyph: str


def _rows(stops: list[Stop], day: date) -> list[StopRow]:
    tanks = [tank for stop in stops for tank in stop.due_visit.tanks.all()]
    tasks = open_tasks_of(tanks, until=day)
    rows = []
    for stop in stops:
        here = list(stop.due_visit.tanks.all())
        keys = {tank.pk for tank in here}
        mine = [task for task in tasks if task.tank_id in keys]
        late = any(task.latest < day for task in mine)
        carried = [t.rule for t in mine if t.rule is not None and t.rule.carry is not None]
        rows.append(
            StopRow(
                stop=stop,
                time=time_format(stop.planned_at, "H:i"),
                tanks=here,
                due=list(dict.fromkeys(task.title for task in mine)),
                carry=[f"{r.carry.name} {r.carry_amount:g} {r.carry.unit}" for r in carried if r.carry],
                glyph="alone" if stop.due_visit.isolated else ("late" if late else ""),
            )
        )
    return rows


def _lead(round_row: Round | None, stops: list[Stop]) -> tuple[str, str]:
    if round_row is None or not stops:
        return _("No stops today."), _("The office has planned nothing for you.")
    to_go = [s for s in stops if s.state in (StopState.PLANNED, StopState.UNDER_WAY)]
    if not to_go:
        return _("All stops are done."), ""
    last = to_go[-1]
    end = datetime.combine(round_row.day, last.planned_at) + timedelta(minutes=last.minutes)
    bold = ngettext("One stop to go,", "%(n)s stops to go,", len(to_go)) % {"n": len(to_go)}
    return bold, _("done at the last by %(time)s.") % {"time": time_format(end.time(), "H:i")}


@login_required
@require_GET
def today(request: HttpRequest) -> HttpResponse:
    user = _staff(request)
    driver = user
    if user.is_office:
        everyone = technicians()
        wanted = request.GET.get("technician", "")
        driver = next((t for t in everyone if str(t.pk) == wanted), everyone[0] if everyone else user)
    day = _today(user)
    round_row, stops = queries.round_of(driver, day)
    rows = _rows(stops, day)
    open_rows = [r for r in rows if r.stop.state in (StopState.PLANNED, StopState.UNDER_WAY)]
    first = next(
        (r for r in open_rows if r.stop.state == StopState.UNDER_WAY), open_rows[0] if open_rows else None
    )
    bold, rest = _lead(round_row, stops)
    context: dict[str, Any] = {
        "driver": driver,
        "bold": bold,
        "rest": rest,
        "strip": day_strip(round_row, stops, user.zone, timezone.now()) if round_row and stops else None,
        "first": first,
        "under_way": first is not None and first.stop.state == StopState.UNDER_WAY,
        "rows": [r for r in open_rows if r is not first],
        "behind": [r for r in rows if r.stop.state == StopState.CLOSED],
        "people": technicians() if user.is_office else [],
    }
    return render(request, "rounds/today.html", context)


@login_required
@require_GET
def load(request: HttpRequest) -> HttpResponse:
    user = _staff(request)
    day = _today(user)
    _row, stops = queries.round_of(user, day)
    return render(request, "rounds/load.html", {"lines": queries.load_list(stops, day), "stops": len(stops)})


@login_required
@require_POST
def key(request: HttpRequest, visit: UUID) -> HttpResponse:
    """The key or code of a site: to the office, and to the technician of that stop on its day. The look is kept."""
    user = _staff(request)
    stop = queries.stop_for(user, visit)
    if user.is_technician and stop.round.day != _today(user):
        raise Http404
    log_key_look(site=stop.due_visit.site, user=user, at=timezone.now())
    return render(request, "rounds/key.html", {"site": stop.due_visit.site, "visit_id": visit})


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
    user = _staff(request)
    if not user.is_office:
        raise Http404
    wanted = None
    try:
        wanted = parse_date(request.GET.get("from", ""))
    except ValueError:
        wanted = None
    day = wanted or _today(user)
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


@login_required
@require_GET
def look_up(request: HttpRequest) -> HttpResponse:
    user = _staff(request)
    query = request.GET.get("q", "").strip()[:60]
    tanks = tanks_for(user, on=_today(user)).filter(retired_on__isnull=True)
    if query:
        tanks = tanks.filter(name__icontains=query) | tanks.filter(site__name__icontains=query)
    return render(request, "rounds/look_up.html", {"query": query, "tanks": tanks[:60]})
