"""The days that are to be planned, as the planner takes them: who works when, which visits are owed, when each can be made."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property

from django.db.models import Q
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.core.rounds.hours import Hours
from servicedesk.core.rounds.problem import (
    DAY_S,
    ISOLATED,
    Lunch,
    Pair,
    Problem,
    Refill,
    Shift,
    Travel,
    Visit,
    Window,
    locked,
)
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit
from servicedesk.rounds.queries.actuals import actuals
from servicedesk.rounds.queries.ground import (
    AFTER_EMPTY,
    ANOTHER,
    LATE,
    LEAVE_OUT,
    NEXT_WEEK,
    OFF_DAY,
    Ground,
    open_hours,
    seconds_of,
    windows_of_day,
)
from servicedesk.rounds.queries.isolation import override_words
from servicedesk.rounds.queries.stamps import stamp_of
from servicedesk.rounds.queries.ways import ways_between
from servicedesk.staff.choices import StartsAt
from servicedesk.staff.models import Skill, User, Working
from servicedesk.staff.queries import business, day_of, technicians
from servicedesk.stock.choices import PlaceKind
from servicedesk.stock.models import Place
from servicedesk.watch.models import Away
from servicedesk.web.feasts import public_holidays

LATE_FOR = timedelta(days=42)
REFILL_S = 15 * 60
OVERTIME = 2
"""A second of overtime weighs as two at the wheel."""
WIDE = 1_000_000
DIMENSIONS = ("L of mixed water", "kg", "boxes")
SECOND = ":second"
"""Ends the name of the second person's part of a visit for two."""


@dataclass
class Wanted:
    """The problem and the way back from it: its days, visits and people by their names there, what could not be taken as it is written down, and
    what each visit's minutes and prices hang on, in words."""

    days: list[date]
    problem: Problem
    visits: dict[str, DueVisit]
    people: dict[str, User]
    orders: dict[tuple[str, int], tuple[str, ...]]
    said: list[str] = field(default_factory=list)
    notes: dict[str, list[str]] = field(default_factory=dict)
    skills: dict[str, str] = field(default_factory=dict)
    hours: Hours | None = None

    @cached_property
    def stamp(self) -> str:
        """Names the rounds and visits this was worked out from: the same only while none of it moves."""
        return stamp_of(self.visits.values())


class _Places:
    """Points on the map, each once; what stands nowhere is put in the middle of the rest, and said."""

    def __init__(self) -> None:
        self.points: list[tuple[float, float] | None] = []
        self.names: list[str] = []
        self.known: dict[object, int] = {}

    def of(self, key: object, name: str, lat: float | None, lon: float | None) -> int:
        if key not in self.known:
            self.known[key] = len(self.points)
            self.points.append(None if lat is None or lon is None else (lat, lon))
            self.names.append(name)
        return self.known[key]

    def settled(self) -> list[tuple[float, float]]:
        there = [point for point in self.points if point is not None] or [(0.0, 0.0)]
        middle = tuple(sum(point[axis] for point in there) / len(there) for axis in (0, 1))
        return [point or (middle[0], middle[1]) for point in self.points]

    def lost(self) -> list[str]:
        return [name for name, point in zip(self.names, self.points, strict=True) if point is None]


class Builder:
    """Reads what planning hangs on, for days from first to last."""

    def __init__(self, first: date, last: date, now: datetime) -> None:
        self.days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        self.now, self.places, self.said = now, _Places(), list[str]()
        self.notes: dict[str, list[str]] = defaultdict(list)
        self.actuals = actuals(until=now)
        self.hours: Hours | None = None
        self.store = (
            Place.objects.filter(kind=PlaceKind.STORE, lat__isnull=False).order_by("name", "pk").first()
        )

    def people(self) -> list[Shift]:
        vans = {place.keeper_id: place for place in Place.objects.filter(kind=PlaceKind.VAN).order_by("name")}
        away = list(
            Away.objects.filter(
                retired_on__isnull=True, from_on__lte=self.days[-1], until_on__gte=self.days[0]
            )
        )
        found, free = [], self._free()
        for person in technicians():
            working = Working.objects.filter(person=person).prefetch_related("skills").first()
            for number, day in enumerate(self.days):
                if day not in free and not any(
                    row.person_id == person.pk and row.from_on <= day <= row.until_on for row in away
                ):
                    found += self._shift(person, working, vans.get(person.pk), number, day)
        return found

    def _free(self) -> dict[date, str]:
        """Public holidays of the business among these days: nobody is planned on them, and that is said."""
        row = business()
        free = public_holidays(row.country, row.region, self.days[0], self.days[-1])
        for day, name in free.items():
            words = _("%(day)s is a public holiday (%(name)s): nobody is planned.")
            self.said.append(words % {"day": date_format(day, "l j F"), "name": name})
        return free

    def _shift(
        self,
        person: User,
        working: Working | None,
        van: Place | None,
        number: int,
        day: date,
        *,
        anyway: bool = False,
    ) -> list[Shift]:
        row = working or Working(person=person)
        if day.weekday() not in row.weekdays and not anyway:
            return []
        lunch = None
        if row.lunch_minutes:
            lunch = Lunch(row.lunch_minutes * 60, seconds_of(row.lunch_from), seconds_of(row.lunch_until))
        begins, ends = seconds_of(row.shift_begins), seconds_of(row.shift_ends)
        takes = (van.water_l, van.most_kg, van.boxes) if van else (None, None, None)
        refill = None
        if self.store is not None and van is not None and van.water_l is not None:
            refill = Refill(self._store(), REFILL_S)
        return [
            Shift(
                technician=str(person.pk),
                day=number,
                start=self._home(person, row, row.begins_at),
                end=self._home(person, row, row.ends_at),
                earliest=begins,
                latest=min(ends + row.overtime_minutes * 60, DAY_S - 1),
                paid=max(0, ends - begins - row.lunch_minutes * 60),
                overtime=row.overtime_minutes * 60,
                overtime_price=OVERTIME,
                lunch=lunch,
                skills=frozenset(str(skill.pk) for skill in row.skills.all()) if working else frozenset(),
                van=tuple(WIDE if most is None else most for most in takes),
                refill=refill,
            )
        ]

    def _store(self) -> int:
        assert self.store is not None
        return self.places.of("store", self.store.name, self.store.lat, self.store.lon)

    def _home(self, person: User, row: Working, where: str) -> int:
        if where == StartsAt.HOME and row.home_lat is not None:
            return self.places.of(("home", person.pk), _("the home of %(name)s") % {"name": person.name}, row.home_lat, row.home_lon)  # fmt: skip
        if self.store is not None:
            return self._store()
        return self.places.of("middle", _("the store"), None, None)

    def owed(self) -> list[DueVisit]:
        """Visits that are to be made in these days: due in them, standing on one of them, or overdue."""
        first, last = self.days[0], self.days[-1]
        rows = DueVisit.objects.filter(
            called_off_at__isnull=True, earliest__lte=last, due__gte=first - LATE_FOR
        )
        rows = rows.filter(
            Q(stop__isnull=True) | Q(stop__state__in=(StopState.PLANNED, StopState.CALLED_OFF))
        )
        standing = Q(stop__state=StopState.PLANNED, stop__round__day__gte=first, stop__round__day__lte=last)
        elsewhere = Q(stop__state=StopState.PLANNED) & ~Q(stop__round__day__lte=last)
        rows = rows.filter(Q(due__lte=last) | standing).exclude(elsewhere)
        rows = rows.exclude(Q(pin__day__lt=first) | Q(pin__day__gt=last))
        rows = rows.exclude(  # those are still to be driven before
            stop__state=StopState.PLANNED, stop__round__day__gte=day_of(self.now), stop__round__day__lt=first
        )
        joined = ("site", "plan", "plan__technician", "pin", "stop", "stop__round")
        return list(
            rows.select_related(*joined)
            .prefetch_related("tanks", "plan__skills", "site__hours", "site__closed_days")
            .order_by("due", "site__name", "pk")
        )

    def visits(self, owed: Sequence[DueVisit]) -> tuple[list[Visit], list[Pair]]:
        tanks = {tank.pk: tank for row in owed for tank in row.tanks.all()}
        ground = Ground(list(tanks.values()), self.days, self.now)
        found, pairs = [], []
        for row in owed:
            visit = self._visit(row, ground)
            found.append(visit)
            if row.plan is not None and row.plan.people == 2:
                found.append(
                    replace(visit, id=visit.id + SECOND, loads=(0, 0, 0), technicians=None, usual=None)
                )
                pairs.append(Pair(visit.id, visit.id + SECOND))
        return found, pairs

    def _visit(self, row: DueVisit, ground: Ground) -> Visit:
        key, plan, site = str(row.pk), row.plan, row.site
        tanks = list(row.tanks.all())
        planned, words = ground.minutes(row, tanks)
        minutes = self.actuals.minutes(row.plan_id, planned)
        self.notes[key] += words + self._as_a_rule(row, planned, minutes)
        empty = ground.empty(tanks)
        if empty is not None:
            self.notes[key].append(_("%(what)s runs empty on %(day)s") % {"what": empty.what, "day": date_format(empty.empty_on, "j F")})  # fmt: skip
        if row.disinfects:
            self.notes[key].append(override_words())
        windows = self._windows(row, minutes, empty.empty_on if empty else None)
        usual = plan.technician if plan and plan.technician and plan.technician.is_technician else None
        visit = Visit(
            id=key,
            place=self.places.of(("site", site.pk), site.name, site.lat, site.lon),
            seconds=minutes * 60,
            windows=tuple(windows),
            skills=frozenset(str(skill.pk) for skill in plan.skills.all()) if plan else frozenset(),
            loads=ground.loads(row, tanks),
            level=ISOLATED if row.isolated else ground.level(tanks),
            disinfects=row.disinfects,
            skip_price=NEXT_WEEK if row.latest > self.days[-1] else LEAVE_OUT,
            usual=str(usual.pk) if usual else None,
            change_price=ANOTHER if usual else 0,
        )
        return self._held(visit, row)

    def _as_a_rule(self, row: DueVisit, planned: int, minutes: int) -> list[str]:
        """How far visits of its plan take another time than is written down."""
        found = self.actuals.plans.get(row.plan_id) if row.plan_id else None
        if found is None or minutes == planned:
            return []
        longer = _("%(m)s min longer than written down: so it was on %(n)s visits")
        shorter = _("%(m)s min shorter than written down: so it was on %(n)s visits")
        return [(longer if minutes > planned else shorter) % {"m": abs(minutes - planned), "n": found.seen}]

    def travel(self) -> Travel:
        """Seconds and metres between all places, and by the hour (`hours`): as it took where somebody drove, as the road router said, else by distance."""
        places, sites = self.places, {}
        for key, number in places.known.items():
            if isinstance(key, tuple) and key[0] == "site":
                sites[key[1]] = number
        ways = ways_between(places.points, places.settled(), places.names, sites, self.actuals.ways)
        self.hours, self.said = ways.hours, [*self.said, *ways.said]
        return ways.travel

    def _held(self, visit: Visit, row: DueVisit) -> Visit:
        """As a person decided."""
        pin = getattr(row, "pin", None)
        if pin is None:
            return visit
        day = self.days.index(pin.day) if pin.day else None
        return locked(
            visit,
            technician=str(pin.technician_id) if pin.technician_id else None,
            day=day,
            start=seconds_of(pin.at) if pin.at else None,
        )

    def _windows(self, row: DueVisit, minutes: int, empty_on: date | None) -> list[Window]:
        """When it may begin, and what choosing that costs. What is overdue may be made on every day, the sooner the better."""
        found = []
        late = row.latest < self.days[0]
        wished = row.plan.preferred_time if row.plan else None
        for number, day in enumerate(self.days):
            if not (late or row.earliest <= day <= row.latest):
                continue
            price = LATE * (day - self.days[0]).days if late else OFF_DAY * abs((day - row.due).days)
            if empty_on is not None and day > empty_on:
                price += AFTER_EMPTY * (day - empty_on).days
            for opens, closes in open_hours(row.site, day):
                found += windows_of_day(number, opens, closes - minutes * 60, price, wished)
        return found


def orders_in_force(owed: Sequence[DueVisit], days: list[date]) -> dict[tuple[str, int], tuple[str, ...]]:
    """The rounds in force, as the planner writes them. The second of two stands on no round yet."""
    rows = [
        (visit.stop.round.technician_id, visit.stop.round.day, visit.stop.order, visit.stop.planned_at, visit)
        for visit in owed
        if hasattr(visit, "stop") and visit.stop.state == StopState.PLANNED and visit.stop.round.day in days
    ]
    found: dict[tuple[str, int], tuple[str, ...]] = {}
    for person, day, _order, _at, visit in sorted(
        rows, key=lambda row: (str(row[0]), *row[1:4], str(row[4].pk))
    ):
        key = (str(person), days.index(day))
        found[key] = (*found.get(key, ()), str(visit.pk))
    return found


def wanted(*, first: date, last: date, now: datetime) -> Wanted:
    """Everything that planning these days hangs on."""
    builder = Builder(first, last, now)
    shifts, owed = builder.people(), builder.owed()
    visits, pairs = builder.visits(owed)
    places = builder.places
    lost = places.lost()
    if lost:
        words = ngettext(
            "It is not written down where %(name)s stands: it is planned as if in the middle of the rest.",
            "It is not written down where %(n)s places stand, %(name)s among them: they are planned as if in the middle of the rest.",
            len(lost),
        )
        builder.said.append(words % {"n": len(lost), "name": lost[0]})
    problem = Problem(
        travel=builder.travel(),
        visits=tuple(visits),
        shifts=tuple(shifts),
        pairs=tuple(pairs),
        dimensions=DIMENSIONS,
        names=tuple(places.names),
    )
    return Wanted(
        days=builder.days,
        problem=problem,
        visits={str(row.pk): row for row in owed},
        people={str(person.pk): person for person in technicians()},
        orders=orders_in_force(owed, builder.days),
        said=builder.said,
        notes={key: words for key, words in builder.notes.items() if words},
        skills={str(skill.pk): skill.name for skill in Skill.objects.all()},
        hours=builder.hours,
    )
