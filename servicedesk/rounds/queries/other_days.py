"""A visit that finds no place today may be made on one of the following days, as far as its tolerance goes, where nobody else moves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _

from servicedesk.core.rounds.insertion import insertions, with_visit
from servicedesk.core.rounds.plan import Plan
from servicedesk.core.rounds.problem import Key, Problem, Visit, Window
from servicedesk.core.rounds.rules import judge
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit
from servicedesk.rounds.queries.broken import stamp_of_day
from servicedesk.rounds.queries.found import Line, lines_of_round
from servicedesk.rounds.queries.ground import Ground, seconds_of
from servicedesk.rounds.queries.wanted import DIMENSIONS, Builder, Wanted, orders_in_force
from servicedesk.staff.queries import technicians

AHEAD = 7
"""So many days are looked at (common practice)."""


@dataclass(frozen=True)
class OtherDay:
    """Where a visit can be made later: its line, what it costs in seconds at the wheel and after the shift, the visit behind it with the new way
    there, and how the day stood."""

    line: Line
    driving: int
    overtime: int
    behind: tuple[str, int] | None
    stamp: str

    def kept(self) -> dict[str, Any]:
        """As it is stored with the way out."""
        line = self.line
        assert line.technician is not None and line.day is not None and line.planned_at is not None
        return {
            "technician": str(line.technician.pk),
            "name": line.technician.name,
            "day": line.day.isoformat(),
            "at": f"{line.planned_at:%H:%M}",
            "order": line.order,
            "minutes": line.minutes,
            "drive": line.drive_minutes,
            "driving": round(self.driving / 60),
            "overtime": round(self.overtime / 60),
            "behind": self.behind,
            "stamp": self.stamp,
        }


class _Days(Builder):
    """The days after a day that broke: what stands there stays when it was told, and the homeless look for a place."""

    def __init__(self, first: date, last: date, now: datetime, homeless: list[DueVisit]) -> None:
        super().__init__(first, last, now)
        self.homeless = homeless
        standing = [row for row in super().owed() if self._stands(row)]
        self.rows = [*standing, *homeless]
        self.orders = orders_in_force(standing, self.days)

    def _stands(self, row: DueVisit) -> bool:
        stop = getattr(row, "stop", None)
        return stop is not None and stop.state == StopState.PLANNED and stop.round.day in self.days

    def taken(self) -> list[Visit]:
        tanks = {tank.pk: tank for row in self.rows for tank in row.tanks.all()}
        ground = Ground(list(tanks.values()), self.days, self.now)
        return [self._as_told(row, self._visit(row, ground)) for row in self.rows]

    def _as_told(self, row: DueVisit, visit: Visit) -> Visit:
        """What stands on a round is begun when it was said, however it came there."""
        if not self._stands(row):
            return visit
        at = seconds_of(row.stop.planned_at)
        day = self.days.index(row.stop.round.day)
        return replace(visit, seconds=row.stop.minutes * 60, windows=(Window(day, at, at),), technicians=None, skills=frozenset())  # fmt: skip


def other_days(homeless: list[DueVisit], today: date, now: datetime) -> dict[str, OtherDay]:
    """For each of these visits the cheapest place on a following day within its tolerance; they go together, and nothing else moves. Rounds that
    do not hold as they stand take nothing more."""
    may = [row for row in homeless if row.latest > today]
    if not may:
        return {}
    last = min(max(row.latest for row in may), today + timedelta(days=AHEAD))
    days = _Days(today + timedelta(days=1), last, now, may)
    shifts, visits = days.people(), days.taken()
    problem = Problem(
        travel=days.travel(),
        visits=tuple(visits),
        shifts=tuple(shifts),
        dimensions=DIMENSIONS,
        names=tuple(days.places.names),
    )
    orders = {key: order for key, order in days.orders.items() if key in problem.shift}
    found: dict[str, OtherDay] = {}
    week = Wanted(
        days=days.days,
        problem=problem,
        visits={str(row.pk): row for row in days.rows},
        people={str(person.pk): person for person in technicians()},
        orders=days.orders,
    )
    for row in may:
        place = _cheapest(problem, orders, str(row.pk))
        if place is not None:
            key, order = place
            found[str(row.pk)] = _told(week, str(row.pk), key, orders.get(key, ()), order)
            orders[key] = order
    return found


def _cheapest(
    problem: Problem, orders: dict[Key, tuple[str, ...]], name: str
) -> tuple[Key, tuple[str, ...]] | None:
    best = insertions(problem, orders, problem.visit[name])
    if not best:
        return None
    key = best[0].key
    return key, with_visit(tuple(orders.get(key, ())), best[0].position, name)


def _alone(problem: Problem, key: Key, order: tuple[str, ...]) -> Plan:
    small = replace(
        problem, visits=tuple(problem.visit[name] for name in order), shifts=(problem.shift[key],)
    )
    return judge(small, {key: order} if order else {})[0]


def _told(week: Wanted, name: str, key: Key, before: tuple[str, ...], order: tuple[str, ...]) -> OtherDay:
    was, now = (_alone(week.problem, key, given) for given in (before, order))
    lines = {str(line.due_visit.pk): line for line in lines_of_round(week, now.rounds[0])}
    place = order.index(name)
    behind = order[place + 1] if place + 1 < len(order) else None
    return OtherDay(
        line=lines[name],
        driving=now.driving - was.driving,
        overtime=now.overtime - was.overtime,
        behind=(behind, lines[behind].drive_minutes) if behind else None,
        stamp=stamp_of_day(week.days[key[1]]),
    )


def in_words(kept: dict[str, Any]) -> str:
    """Day, person and price of a later place, as one reads it."""
    day, at = date.fromisoformat(kept["day"]), datetime.strptime(kept["at"], "%H:%M").time()
    words = _("%(day)s at %(at)s by %(who)s, %(m)s min more at the wheel") % {
        "day": date_format(day, "l j F"),
        "at": time_format(at, "H:i"),
        "who": kept["name"],
        "m": kept["driving"],
    }
    if kept["overtime"] > 0:
        words += ", " + _("%(m)s min after the shift") % {"m": kept["overtime"]}
    return words
