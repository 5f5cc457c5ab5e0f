"""A running day as the planner takes it: what is done is gone, everybody goes on from where they are, what broke is left out or added."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from math import ceil
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.rounds.plan import Plan
from servicedesk.core.rounds.problem import DAY_S, Problem, Shift, Visit, Window
from servicedesk.core.rounds.today import as_it_stands, timed_as_said
from servicedesk.rounds.choices import StopState, TroubleKind, TroubleState
from servicedesk.rounds.models import DueVisit, Stop, Trouble
from servicedesk.rounds.queries.ground import (
    LEAVE_OUT,
    Ground,
    open_hours,
    seconds_of,
    windows_of_day,
)
from servicedesk.rounds.queries.stamps import stamp_of_day
from servicedesk.rounds.queries.wanted import DIMENSIONS, Builder, Wanted
from servicedesk.staff.models import Skill, Working
from servicedesk.staff.queries import business_zone, technicians
from servicedesk.stock.choices import PlaceKind
from servicedesk.stock.models import Place
from servicedesk.watch.models import Away
from servicedesk.web.prepared import DAY, Raw, Slot, prepared, stored

BEGUN = (StopState.UNDER_WAY, StopState.CLOSED)
KNOWN = (TroubleState.OPEN, TroubleState.SETTLED)


@dataclass
class Broken:
    """A day as it is now. `week` is what of it can still be planned, `before` how it would have gone on, `said` the start that was told for each
    visit in seconds since midnight, `ends` when each technician's shift ends without overtime, `off` the visit that is cancelled."""

    week: Wanted
    before: Plan
    said: dict[str, int]
    stamp: str
    ends: dict[str, int]
    now: datetime
    off: DueVisit | None = None


@dataclass
class _Person:
    """One technician's day so far: stops that have begun, stops still to come in their order."""

    begun: list[Stop] = field(default_factory=list)
    open: list[Stop] = field(default_factory=list)


def _arrived(stop: Stop) -> datetime:
    """When a stop that has begun was begun."""
    assert stop.arrived_at is not None
    return stop.arrived_at


class _Today(Builder):
    def __init__(self, trouble: Trouble, now: datetime) -> None:
        super().__init__(trouble.day, trouble.day, now)
        self.trouble, self.day = trouble, trouble.day
        local = now.astimezone(business_zone())
        midnight = datetime.combine(trouble.day, datetime.min.time(), tzinfo=local.tzinfo)
        self.midnight, self.moment = midnight, self._whole_minutes((local - midnight).total_seconds())
        self.persons: dict[str, _Person] = defaultdict(_Person)
        joined = ("round", "due_visit__site", "due_visit__plan__technician", "due_visit__pin")
        stops = Stop.objects.filter(round__day=self.day, due_visit__called_off_at__isnull=True)
        deep = ("due_visit__tanks", "due_visit__plan__skills", "due_visit__site__hours", "due_visit__site__closed_days")  # fmt: skip
        for stop in (
            stops.select_related(*joined).prefetch_related(*deep).order_by("order", "planned_at", "pk")
        ):
            mine = self.persons[str(stop.round.technician_id)]
            if stop.state in BEGUN and stop.arrived_at is not None:
                mine.begun.append(stop)
            elif stop.state == StopState.PLANNED:
                mine.open.append(stop)
        rows = Trouble.objects.filter(day=self.day, kind=TroubleKind.SICK, state=TroubleState.SETTLED)
        self.sick = {str(key) for key in rows.values_list("person", flat=True)}
        self.away: dict[str, Shift] = {}
        self.ends: dict[str, int] = {}

    @staticmethod
    def _whole_minutes(seconds: float) -> int:
        return min(max(0, ceil(seconds / 60) * 60), DAY_S - 1)

    def shifts(self) -> list[Shift]:
        """Everybody who works from where they are, or has a round today; who is sick apart, in `away`."""
        vans = {place.keeper_id: place for place in Place.objects.filter(kind=PlaceKind.VAN).order_by("name")}
        off = set(
            Away.objects.filter(retired_on=None, from_on__lte=self.day, until_on__gte=self.day).values_list(
                "person", flat=True
            )
        )
        free, found = self._free(), []
        for person in technicians():
            key = str(person.pk)
            stands = bool(self.persons[key].open or self.persons[key].begun)
            if not stands and (person.pk in off or free):
                continue
            working = Working.objects.filter(person=person).prefetch_related("skills").first()
            for shift in self._shift(person, working, vans.get(person.pk), 0, self.day, anyway=stands):
                ill = self.trouble.kind == TroubleKind.SICK and self.trouble.person_id == person.pk
                if ill or key in self.sick:
                    self.away[key] = self._from_here(shift)
                else:
                    found.append(self._from_here(shift))
        return found

    def _from_here(self, shift: Shift) -> Shift:
        """What is left of a shift: from the site of the current or last stop, where one has begun."""
        self.ends[shift.technician] = shift.latest - shift.overtime
        begun = self.persons[shift.technician].begun
        start, free = shift.start, max(self.moment, shift.earliest)
        if begun:
            last = max(begun, key=_arrived)
            site = last.due_visit.site
            start = self.places.of(("site", site.pk), site.name, site.lat, site.lon)
            free = self.moment
            if last.state == StopState.UNDER_WAY:
                ends = _arrived(last) + timedelta(minutes=last.minutes)
                free = max(free, self._whole_minutes((ends - self.midnight).total_seconds()))
        lunch = shift.lunch if shift.lunch and free <= shift.lunch.latest else None
        left = shift.latest - shift.overtime - free - (lunch.seconds if lunch else 0)
        return replace(
            shift, start=start, earliest=free, latest=max(shift.latest, free), lunch=lunch, paid=max(0, left)
        )

    def owed(self) -> list[DueVisit]:
        """Visits that stand on a round today and have not begun, the one that is cancelled too; and the call-out."""
        rows = [stop.due_visit for mine in self.persons.values() for stop in mine.open]
        known = {row.pk for row in rows}
        call = self.trouble.due_visit_id if self.trouble.kind == TroubleKind.CALL_OUT else None
        if call is not None and call not in known:
            joined = ("site", "plan__technician", "pin")
            asked = DueVisit.objects.filter(pk=call, called_off_at=None)
            asked = asked.exclude(stop__state__in=BEGUN)
            rows += asked.select_related(*joined).prefetch_related(
                "tanks", "site__hours", "site__closed_days"
            )
        return rows

    def today(self, owed: list[DueVisit]) -> list[Visit]:
        tanks = {tank.pk: tank for row in owed for tank in row.tanks.all()}
        ground = Ground(list(tanks.values()), self.days, self.now)
        stops = {stop.due_visit_id: stop for mine in self.persons.values() for stop in mine.open}
        late = dict(
            Trouble.objects.filter(
                day=self.day, kind=TroubleKind.CALL_OUT, until__isnull=False, state__in=KNOWN
            ).values_list("due_visit", "until")
        )
        found = []
        for row in owed:
            visit, stop = self._visit(row, ground), stops.get(row.pk)
            until = late.get(row.pk)
            minutes = stop.minutes if stop else row.minutes
            windows = self._hours(row, minutes, seconds_of(until) if until else DAY_S - 1)
            if stop is not None:
                windows = self._with_said(windows, seconds_of(stop.planned_at))
            found.append(replace(visit, seconds=minutes * 60, windows=windows, skip_price=LEAVE_OUT))
        return found

    def _hours(self, row: DueVisit, minutes: int, until: int) -> tuple[Window, ...]:
        """When one gets in today, whichever days the visit has beside this one."""
        wished = row.plan.preferred_time if row.plan else None
        found: list[Window] = []
        for opens, closes in open_hours(row.site, self.day):
            found += windows_of_day(0, opens, min(closes - minutes * 60, until), 0, wished)
        return tuple(found)

    @staticmethod
    def _with_said(windows: tuple[Window, ...], at: int) -> tuple[Window, ...]:
        """The time that was told is one at which it may be made, also outside the hours that are written down."""
        return (
            windows if any(w.earliest <= at <= w.latest for w in windows) else (*windows, Window(0, at, at))
        )

    def _held(self, visit: Visit, row: DueVisit) -> Visit:
        """As a person decided, as far as it is about today."""
        pin = getattr(row, "pin", None)
        if pin is None or pin.technician_id is None:
            return visit
        return replace(visit, technicians=frozenset({str(pin.technician_id)}))


def broken(trouble: Trouble, now: datetime) -> Broken:
    """The day of a trouble as it is at this moment."""
    stamp = stamp_of_day(trouble.day)
    builder = _Today(trouble, now)
    shifts, owed = builder.shifts(), builder.owed()
    visits = _as_put(builder.today(owed), builder, [*shifts, *builder.away.values()])
    orders = {
        (who, 0): tuple(str(stop.due_visit_id) for stop in mine.open)
        for who, mine in builder.persons.items()
        if mine.open
    }
    said = {str(s.due_visit_id): seconds_of(s.planned_at) for m in builder.persons.values() for s in m.open}
    whole = Problem(
        travel=builder.travel(),
        visits=tuple(visits),
        shifts=(*shifts, *builder.away.values()),
        dimensions=DIMENSIONS,
        names=tuple(builder.places.names),
    )
    whole, gave = as_it_stands(whole, orders, said)
    before = _as_said(whole, orders, said)
    off = trouble.due_visit if trouble.kind == TroubleKind.CANCELLED else None
    kept = [visit for visit in whole.visits if off is None or visit.id != str(off.pk)]
    here = [
        _late(shift, trouble, whole, orders, said)
        for shift in whole.shifts
        if shift.technician not in builder.away
    ]
    week = Wanted(
        days=builder.days,
        problem=replace(whole, visits=tuple(kept), shifts=tuple(here)),
        visits={str(row.pk): row for row in owed if off is None or row.pk != off.pk},
        people={str(person.pk): person for person in technicians()},
        orders=orders,
        said=[*builder.said, *_given_way(gave, builder), *_lost(builder), *_for_two(owed)],
        notes={key: words for key, words in builder.notes.items() if words},
        skills={str(skill.pk): skill.name for skill in Skill.objects.all()},
        hours=builder.hours,
    )
    return Broken(week, before, said, stamp, builder.ends, now, off)


def _as_put(visits: list[Visit], builder: _Today, shifts: list[Shift]) -> list[Visit]:
    """Whoever was given a visit that asks for skills they lack keeps it, and nobody else without them gets it."""
    where = {str(s.due_visit_id): who for who, mine in builder.persons.items() for s in mine.open}
    able = {shift.technician: shift.skills for shift in shifts if shift.technician not in builder.away}
    found = []
    for visit in visits:
        who = where.get(visit.id, "")
        if who in able and not visit.skills <= able[who]:
            others = {key for key, skills in able.items() if visit.skills <= skills}
            visit = replace(visit, skills=frozenset(), technicians=frozenset({who, *others}))
        found.append(visit)
    return found


def _as_said(problem: Problem, orders: dict[tuple[str, int], tuple[str, ...]], said: dict[str, int]) -> Plan:
    """How the day would have gone on: each stop at the time that was told, or as soon after it as can be."""
    loose = [
        replace(v, windows=(Window(0, said[v.id], DAY_S - 1),)) if v.id in said else v for v in problem.visits
    ]
    shifts = [replace(s, latest=DAY_S - 1, overtime=DAY_S) for s in problem.shifts]
    asked = replace(problem, visits=tuple(loose), shifts=tuple(shifts))
    return timed_as_said(
        asked, {key: order for key, order in orders.items() if key in asked.shift}, orders, said
    )


def _late(
    shift: Shift,
    trouble: Trouble,
    problem: Problem,
    orders: dict[tuple[str, int], tuple[str, ...]],
    said: dict[str, int],
) -> Shift:
    """The shift of one who runs late: the next stop begins so many minutes after the time that was told."""
    if trouble.kind != TroubleKind.LATE or str(trouble.person_id) != shift.technician or not trouble.minutes:
        return shift
    following = next(iter(orders.get(shift.key, ())), None)
    if following is None:
        return shift
    way = problem.travel.rows[shift.start][problem.visit[following].place]
    free = max(shift.earliest, said[following] + trouble.minutes * 60 - way)
    lunch = shift.lunch if shift.lunch and free <= shift.lunch.latest else None
    lost = free - shift.earliest
    paid = None if shift.paid is None else max(0, shift.paid - lost)
    return replace(shift, earliest=free, latest=max(shift.latest, free), lunch=lunch, paid=paid)


def _given_way(gave: dict[tuple[str, int], tuple[str, ...]], builder: _Today) -> list[str]:
    """What of the rules the rounds in force break already, in words."""
    names = {str(person.pk): person.name for person in technicians()}
    words = {
        "lunch": _("The day of %(name)s has no room for lunch as it stands: lunch is not counted there."),
        "load": _("The van of %(name)s cannot hold all of today at once: its load is not counted."),
        "shift": _(
            "The day of %(name)s is longer than the shift as it stands: it may stay as long, not longer."
        ),
    }
    return [words[code] % {"name": names[who]} for (who, _day), codes in gave.items() for code in codes]


def _lost(builder: _Today) -> list[str]:
    lost = builder.places.lost()
    words = ngettext(
        "It is not written down where %(name)s stands: it is planned as if in the middle of the rest.",
        "It is not written down where %(n)s places stand, %(name)s among them: they are planned as if in the middle of the rest.",
        len(lost),
    )
    return [words % {"n": len(lost), "name": lost[0]}] if lost else []


def _for_two(owed: list[DueVisit]) -> list[str]:
    two = [row.site.name for row in owed if row.plan is not None and row.plan.people == 2]
    words = _(
        "%(name)s is a visit for two: only the first person is planned here. Tell the second by word of mouth."
    )
    return [words % {"name": name} for name in two]


class OpenStop(NamedTuple):
    """A stop that has not begun."""

    due_visit: UUID
    site: str
    planned_at: time
    technician: UUID
    name: str


@prepared(day=DAY)
def _open_stops(day: Slot) -> QuerySet[Stop, Any]:
    rows = Stop.objects.filter(round__day=day, state=StopState.PLANNED, due_visit__called_off_at=None)
    rows = rows.order_by("round__technician__name", "planned_at", "order", "pk")
    return rows.values_list(
        "due_visit",
        "due_visit__site__name",
        stored("planned_at"),
        "round__technician",
        "round__technician__name",
    )


def open_stops(day: date) -> list[OpenStop]:
    """Stops of a day that have not begun, by technician and time."""
    return _read_open(_open_stops.raw(day=day))


@lru_cache(maxsize=8)
def _read_open(rows: Raw) -> list[OpenStop]:
    return [OpenStop._make(row) for row in _open_stops.read(rows)]


def drivers_of(stops: list[OpenStop]) -> dict[UUID, str]:
    """Whose stops these are, by name."""
    return {stop.technician: stop.name for stop in stops}
