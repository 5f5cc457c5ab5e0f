"""The week judged: each technician's day in numbers, what is wrong in words, and visits that stand on no round."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Move, Round, Stop
from servicedesk.web.prepared import DAY, Slot, prepared

LITTLE = timedelta(minutes=15)


class RoundSeen(NamedTuple):
    """Whose day it is, and the shift."""

    technician: UUID
    name: str
    day: date
    starts: time
    ends: time


class StopSeen(NamedTuple):
    """All of a stop that its day is judged by and drawn from. Plain values: what is worked out of them is kept by them, and cannot grow stale."""

    due_visit: UUID
    name: str
    order: int
    planned_at: time
    minutes: int
    drive_minutes: int
    state: str
    arrived_at: datetime | None
    left_at: datetime | None
    earliest: date
    latest: date
    isolated: bool
    disinfects: bool
    opens: time | None
    closes: time | None
    lat: float | None
    lon: float | None


SEEN = (
    "due_visit", "due_visit__site__name", "order", "planned_at", "minutes", "drive_minutes", "state", "arrived_at", "left_at",
    "due_visit__earliest", "due_visit__latest", "due_visit__isolated", "due_visit__disinfects", "due_visit__site__opens",
    "due_visit__site__closes", "due_visit__site__lat", "due_visit__site__lon",
)  # fmt: skip
"""Where the values of `StopSeen` stand."""


@dataclass(frozen=True)
class Timed:
    """A stop with the local times at which somebody is, was or will be there."""

    stop: StopSeen
    start: datetime
    end: datetime

    @property
    def name(self) -> str:
        return self.stop.name


@dataclass(frozen=True, eq=False)
class Day:
    """A technician's day as it is `now`: numbers, and what is wrong in words (empty when nothing is)."""

    round: RoundSeen
    stops: tuple[Timed, ...]
    driving: int
    work: int
    wrong: list[str]
    now: datetime

    @property
    def first(self) -> datetime | None:
        return min((t.start for t in self.stops), default=None)

    @property
    def end(self) -> datetime | None:
        return max((t.end for t in self.stops), default=None)


def _timed(stop: StopSeen, day: date, zone: ZoneInfo) -> Timed:
    start = datetime.combine(day, stop.planned_at, tzinfo=zone)
    if stop.arrived_at is not None:
        start = stop.arrived_at.astimezone(zone)
    end = stop.left_at.astimezone(zone) if stop.left_at else start + timedelta(minutes=stop.minutes)
    return Timed(stop, start, end)


def _said(at: Any) -> str:
    return time_format(at, "H:i")


def _minutes(span: timedelta) -> int:
    return int(span.total_seconds() // 60)


def _of_shift(row: RoundSeen, stops: Sequence[Timed], zone: ZoneInfo) -> list[str]:
    starts, ends = (datetime.combine(row.day, at, tzinfo=zone) for at in (row.starts, row.ends))
    first, last = min(t.start for t in stops), max(t.end for t in stops)
    found = []
    if first < starts:
        found.append(_("begins %(m)s min before the shift") % {"m": _minutes(starts - first)})
    if last > ends:
        found.append(_("ends %(m)s min after the shift") % {"m": _minutes(last - ends)})
    return found


def _of_window(timed: Timed, day: date) -> list[str]:
    owed = timed.stop
    if owed.earliest <= day <= owed.latest:
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
    opens, closes = timed.stop.opens, timed.stop.closes
    if opens and closes and closes < opens:  # open over midnight: shut between closing and opening
        shut = closes < timed.start.time() < opens or closes < timed.end.time() < opens
        return [_("%(name)s is shut from %(from)s to %(to)s") % {"name": timed.name, "from": _said(closes), "to": _said(opens)}] if shut else []  # fmt: skip
    found = []
    if opens and timed.start.time() < opens:
        found.append(_("%(name)s opens only at %(at)s") % {"name": timed.name, "at": _said(opens)})
    if closes and (timed.end.time() > closes or timed.end.date() > timed.start.date()):
        found.append(_("%(name)s closes at %(at)s") % {"name": timed.name, "at": _said(closes)})
    return found


def _of_order(stops: Sequence[Timed], now: datetime) -> list[str]:
    """Isolation last; nobody in two places, and time to drive between them. A stop whose time passed unbegun stands
    nowhere any more."""
    by_order = sorted(stops, key=lambda t: (t.stop.order, t.start))
    last_open = max((i for i, t in enumerate(by_order) if not t.stop.isolated), default=-1)
    found = [
        _("%(name)s is in isolation and not last") % {"name": t.name}
        for i, t in enumerate(by_order)
        if t.stop.isolated and not t.stop.disinfects and i < last_open
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


def _not_begun(stops: Sequence[Timed], now: datetime) -> list[str]:
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


@lru_cache(maxsize=1024)
def judged(row: RoundSeen, stops: tuple[StopSeen, ...], zone: ZoneInfo, now: datetime) -> Day:
    """One round judged, kept by all that it hangs on; stops that were called off count for nothing."""
    timed = tuple(_timed(s, row.day, zone) for s in stops if s.state != StopState.CALLED_OFF)
    wrong: list[str] = []
    if timed:
        wrong = [*_not_begun(timed, now), *_of_shift(row, timed, zone)]
        for t in sorted(timed, key=lambda t: t.start):
            wrong += [*_of_window(t, row.day), *_of_hours(t)]
        wrong += _of_order(timed, now)
    return Day(
        round=row,
        stops=timed,
        driving=sum(t.stop.drive_minutes for t in timed),
        work=sum(_minutes(t.end - t.start) for t in timed),
        wrong=wrong,
        now=now,
    )


def _moment(day: date, zone: ZoneInfo, now: datetime) -> datetime:
    """The clock as far as a day hangs on it: long before and long after it, the minute is all the same."""
    midnight = datetime.combine(day, time(0), tzinfo=zone)
    return min(max(now, midnight - timedelta(days=1)), midnight + timedelta(days=2))


@prepared(first=DAY, last=DAY)
def _rounds(first: Slot, last: Slot) -> QuerySet[Round, Any]:
    rows = Round.objects.filter(day__gte=first, day__lte=last).order_by("day", "technician__name", "pk")
    return rows.values_list("pk", "technician", "technician__name", "day", "starts", "ends")


@prepared(first=DAY, last=DAY)
def _stops(first: Slot, last: Slot) -> QuerySet[Stop, Any]:
    rows = Stop.objects.filter(round__day__gte=first, round__day__lte=last).order_by("order", "pk")
    return rows.values_list("round", *SEEN)


def days_of(first: date, last: date, *, zone: ZoneInfo, now: datetime) -> list[Day]:
    """The rounds of these days that have stops, by day and technician, judged."""
    mine: dict[UUID, list[StopSeen]] = defaultdict(list)
    for key, *values in _stops(first=first, last=last):
        mine[key].append(StopSeen._make(values))
    found = []
    for key, *values in _rounds(first=first, last=last):
        row = RoundSeen._make(values)
        if key in mine:
            found.append(judged(row, tuple(mine[key]), zone, _moment(row.day, zone, now)))
    return found


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


@prepared(first=DAY, last=DAY)
def _unplaced_visits(first: Slot, last: Slot) -> QuerySet[DueVisit]:
    rows = DueVisit.objects.filter(due__gte=first, due__lte=last, called_off_at__isnull=True)
    rows = rows.filter(Q(stop__isnull=True) | Q(stop__state=StopState.CALLED_OFF))
    return rows.select_related("site", "plan", "plan__technician", "stop").order_by("due", "site__name", "pk")


def unplaced(*, first: date, last: date) -> list[Unplaced]:
    """Visits due in these days that stand on no round, soonest due first."""
    return [_unplaced(visit) for visit in _unplaced_visits(first=first, last=last)]


@prepared(first=DAY, last=DAY)
def _waiting_moves(first: Slot, last: Slot) -> QuerySet[Move]:
    rows = Move.objects.filter(applied_at__isnull=True, withdrawn_at__isnull=True)
    rows = rows.filter(Q(day__gte=first, day__lte=last) | Q(from_day__gte=first, from_day__lte=last))
    return rows.select_related("due_visit__site", "technician").order_by("asked_at", "pk")


def waiting_moves(*, first: date, last: date) -> list[Move]:
    """Moves to or from these days that wait for a technician's word."""
    return _waiting_moves(first=first, last=last)
