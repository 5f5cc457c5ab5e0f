"""What the pages of rounds share: who asks, which day it is there, a day as a strip, a stop as a row."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.http import Http404, HttpRequest
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _

from clients.models import Tank
from servicedesk.core.drawing.strip import DayStrip, StripStop
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Round, SiteNote, Stop
from servicedesk.rounds.queries import Day, carried, standing_notes
from servicedesk.rounds.queries.isolation import caution_of
from servicedesk.staff.models import User
from servicedesk.staff.queries import technicians
from servicedesk.stock.queries import amount_words
from servicedesk.upkeep.queries import open_tasks_of

DRAWN = {StopState.PLANNED: "planned", StopState.UNDER_WAY: "there", StopState.CLOSED: "done"}


def staff(request: HttpRequest) -> User:
    user = request.user
    if not isinstance(user, User) or not (user.is_office or user.is_technician):
        raise Http404
    return user


def driver_of(request: HttpRequest, user: User) -> User:
    """Whose round is looked at: a technician's own; the office chooses, else the first by name."""
    if not user.is_office:
        return user
    everyone, wanted = technicians(), request.GET.get("technician", "")
    return next((t for t in everyone if str(t.pk) == wanted), everyone[0] if everyone else user)


def today_of(user: User) -> date:
    return timezone.now().astimezone(ZoneInfo(user.zone)).date()


def moment(day: date, at: time, zone: str) -> datetime:
    return datetime.combine(day, at, tzinfo=ZoneInfo(zone))


def day_strip(round_row: Round, stops: list[Stop], zone: str, now: datetime) -> DayStrip:
    """A round as it was driven so far and is planned from here."""
    drawn = []
    for stop in stops:
        if stop.state == StopState.CALLED_OFF:
            continue
        start = stop.arrived_at or moment(round_row.day, stop.planned_at, zone)
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
        shift_start=moment(round_row.day, round_row.starts, zone),
        shift_end=moment(round_row.day, round_row.ends, zone),
        stops=drawn,
        now=now.astimezone(ZoneInfo(zone)),
        title=_("The day of %(name)s") % {"name": round_row.technician.name},
    )


def strip_of(day: Day, zone: str) -> DayStrip:
    """A round that was judged, as it was driven so far and is planned from here."""
    row = day.round
    drawn = [
        StripStop(
            number=t.stop.order,
            name=t.name,
            start=t.start,
            end=max(t.end, t.start + timedelta(minutes=1)),
            state=DRAWN[StopState(t.stop.state)],  # type: ignore[arg-type]
            isolated=t.stop.isolated,
        )
        for t in sorted(day.stops, key=lambda t: (t.start, t.stop.order))
    ]
    return DayStrip(
        shift_start=moment(row.day, row.starts, zone),
        shift_end=moment(row.day, row.ends, zone),
        stops=tuple(drawn),
        now=day.now.astimezone(ZoneInfo(zone)),
        title=_("The day of %(name)s") % {"name": row.name},
    )


@dataclass(frozen=True)
class StopRow:
    """A stop as a row: its time, what is due there, what to carry."""

    stop: Stop
    time: str
    tanks: list[Tank]
    late: list[str]
    due: list[str]
    carry: list[str]
    glyph: str
    caution: dict[str, str] | None = None
    notes: list[SiteNote] = field(default_factory=list)


def stop_rows(stops: list[Stop], day: date) -> list[StopRow]:
    tanks = [tank for stop in stops for tank in stop.tanks]
    tasks = open_tasks_of(tanks, until=day)
    notes = standing_notes(stop.due_visit.site_id for stop in stops)
    rows = []
    for stop in stops:
        here = stop.tanks
        keys = {tank.pk for tank in here}
        mine = [task for task in tasks if task.tank_id in keys]
        late = list(dict.fromkeys(task.title for task in mine if task.latest < day))
        rows.append(
            StopRow(
                stop=stop,
                time=time_format(stop.planned_at, "H:i"),
                tanks=here,
                late=late,
                due=[title for title in dict.fromkeys(task.title for task in mine) if title not in late],
                carry=[f"{item.name} {amount_words(n, item.unit)}" for item, n in carried(mine).items()],
                glyph="alone" if stop.due_visit.isolated else ("late" if late else ""),
                caution=caution_of(stop.due_visit),
                notes=notes.get(stop.due_visit.site_id, []),
            )
        )
    return rows
