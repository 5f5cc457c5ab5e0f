"""The week judged: each technician's day in numbers, what is wrong in words, and visits that stand on no round."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Move, Round, Stop

LITTLE = timedelta(minutes=15)


@dataclass(frozen=True)
class Timed:
    """A stop with the local times at which somebody is, was or will be there."""

    stop: Stop
    start: datetime
    end: datetime

    @property
    def name(self) -> str:
        return self.stop.due_visit.site.name


@dataclass(frozen=True)
class Day:
    """A technician's day: numbers, and what is wrong in words (empty when nothing is)."""

    round: Round
    stops: list[Timed]
    driving: int
    work: int
    wrong: list[str]

    @property
    def first(self) -> datetime | None:
        return min((t.start for t in self.stops), default=None)

    @property
    def end(self) -> datetime | None:
        return max((t.end for t in self.stops), default=None)


def _timed(stop: Stop, zone: ZoneInfo) -> Timed:
    start = datetime.combine(stop.round.day, stop.planned_at, tzinfo=zone)
    if stop.arrived_at is not None:
        start = stop.arrived_at.astimezone(zone)
    end = stop.left_at.astimezone(zone) if stop.left_at else start + timedelta(minutes=stop.minutes)
    return Timed(stop, start, end)


def _said(at: Any) -> str:
    return time_format(at, "H:i")


def _minutes(span: timedelta) -> int:
    return int(span.total_seconds() // 60)


def _of_shift(row: Round, stops: list[Timed], zone: ZoneInfo) -> list[str]:
    starts, ends = (datetime.combine(row.day, at, tzinfo=zone) for at in (row.starts, row.ends))
    first, last = min(t.start for t in stops), max(t.end for t in stops)
    found = []
    if first < starts:
        found.append(_("begins %(m)s min before the shift") % {"m": _minutes(starts - first)})
    if last > ends:
        found.append(_("ends %(m)s min after the shift") % {"m": _minutes(last - ends)})
    return found


def _of_window(timed: Timed) -> list[str]:
    owed = timed.stop.due_visit
    if owed.earliest <= timed.stop.round.day <= owed.latest:
        return []
    window = {
        "name": timed.name,
        "from": date_format(owed.earliest, "j F"),
        "to": date_format(owed.latest, "j F"),
    }
    if owed.earliest == owed.latest:
        return [_("%(name)s is due on %(from)s") % window]
    return [_("%(name)s is due from %(from)s to %(to)s") % window]


def _of_hours(timed: Timed) -> list[str]:
    site = timed.stop.due_visit.site
    opens, closes = site.opens, site.closes
    if opens and closes and closes < opens:  # open over midnight: shut between closing and opening
        shut = closes < timed.start.time() < opens or closes < timed.end.time() < opens
        return [_("%(name)s is shut from %(from)s to %(to)s") % {"name": timed.name, "from": _said(closes), "to": _said(opens)}] if shut else []  # fmt: skip
    found = []
    if opens and timed.start.time() < opens:
        found.append(_("%(name)s opens only at %(at)s") % {"name": timed.name, "at": _said(opens)})
    if closes and (timed.end.time() > closes or timed.end.date() > timed.start.date()):
        found.append(_("%(name)s closes at %(at)s") % {"name": timed.name, "at": _said(closes)})
    return found


def _of_order(stops: list[Timed], now: datetime) -> list[str]:
    """Isolation last; nobody in two places, and time to drive between them. A stop whose time passed unbegun stands
    nowhere any more."""
    by_order = sorted(stops, key=lambda t: (t.stop.order, t.start))
    last_open = max((i for i, t in enumerate(by_order) if not t.stop.due_visit.isolated), default=-1)
    found = [
        _("%(name)s is in isolation and not last") % {"name": t.name}
        for i, t in enumerate(by_order)
        if t.stop.due_visit.isolated and not t.stop.due_visit.disinfects and i < last_open
    ]
    firm = [t for t in stops if t.stop.state != StopState.PLANNED or t.start >= now]
    for before, after in pairwise(sorted(firm, key=lambda t: (t.start, t.stop.order))):
        names = {"a": before.name, "b": after.name, "at": _said(after.start), "until": _said(before.end)}
        left = _minutes(after.start - before.end)
        if after.start < before.end:
            found.append(_("double-booked: %(a)s until %(until)s, %(b)s at %(at)s") % names)
        elif after.stop.state == StopState.PLANNED and left < after.stop.drive_minutes:
            found.append(
                _("%(left)s min to drive to %(b)s, which takes %(drive)s")
                % {**names, "left": left, "drive": after.stop.drive_minutes}
            )
    return found


def _not_begun(stops: list[Timed], now: datetime) -> list[str]:
    """Stops whose time has passed by more than a little and where nobody arrived."""
    missed = [t for t in stops if t.stop.state == StopState.PLANNED and t.start + LITTLE < now]
    if not missed:
        return []
    first = min(missed, key=lambda t: t.start)
    words = ngettext(
        "%(name)s, planned for %(at)s, is not begun",
        "%(n)s stops are not begun, %(name)s first, planned for %(at)s",
        len(missed),
    )
    return [words % {"n": len(missed), "name": first.name, "at": _said(first.start)}]


def judged(row: Round, stops: list[Stop], zone: ZoneInfo, now: datetime) -> Day:
    """One round judged; stops that were called off count for nothing."""
    timed = [_timed(s, zone) for s in stops if s.state != StopState.CALLED_OFF]
    wrong: list[str] = []
    if timed:
        wrong = [*_not_begun(timed, now), *_of_shift(row, timed, zone)]
        for t in sorted(timed, key=lambda t: t.start):
            wrong += [*_of_window(t), *_of_hours(t)]
        wrong += _of_order(timed, now)
    return Day(
        round=row,
        stops=timed,
        driving=sum(t.stop.drive_minutes for t in timed),
        work=sum(_minutes(t.end - t.start) for t in timed),
        wrong=wrong,
    )


def days_of(stops: list[Stop], zone: ZoneInfo, now: datetime) -> list[Day]:
    """The rounds to which these stops belong, in their order, judged."""
    rounds: dict[UUID, list[Stop]] = {}
    for stop in stops:
        rounds.setdefault(stop.round_id, []).append(stop)
    return [judged(mine[0].round, mine, zone, now) for mine in rounds.values()]


@dataclass(frozen=True)
class Unplaced:
    """A visit that is owed and stands on no round, and why. `plan` is to be mended where the plan is the reason."""

    visit: DueVisit
    why: str
    mend_plan: bool


def _unplaced(visit: DueVisit) -> Unplaced:
    if hasattr(visit, "stop"):
        return Unplaced(visit, _("it was called off that day"), False)
    if visit.plan is None:
        return Unplaced(visit, _("nobody planned it: a call-out"), False)
    driver = visit.plan.technician
    if driver is None:
        return Unplaced(visit, _("its plan names no technician"), True)
    if not driver.is_active or not driver.is_technician:
        return Unplaced(visit, _("%(name)s of its plan no longer drives") % {"name": driver.name}, True)
    return Unplaced(visit, _("the nightly planning has not come to it yet"), False)


def unplaced(*, first: date, last: date) -> list[Unplaced]:
    """Visits due in these days that stand on no round, soonest due first."""
    rows = DueVisit.objects.filter(due__gte=first, due__lte=last, called_off_at__isnull=True)
    rows = rows.filter(Q(stop__isnull=True) | Q(stop__state=StopState.CALLED_OFF))
    rows = rows.select_related("site", "plan", "plan__technician", "stop").order_by("due", "site__name", "pk")
    return [_unplaced(visit) for visit in rows]


def waiting_moves(*, first: date, last: date) -> list[Move]:
    """Moves to or from these days that wait for a technician's word."""
    rows = Move.objects.filter(applied_at__isnull=True, withdrawn_at__isnull=True)
    rows = rows.filter(Q(day__gte=first, day__lte=last) | Q(from_day__gte=first, from_day__lte=last))
    return list(rows.select_related("due_visit__site", "technician").order_by("asked_at", "pk"))
