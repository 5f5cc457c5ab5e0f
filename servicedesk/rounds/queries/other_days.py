"""A visit that finds no place today may be made on one of the following days, as far as its tolerance goes, where nobody else moves."""

from __future__ import annotations

from collections.abc import Iterator
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
from servicedesk.rounds.queries.found import Line, lines_of_round
from servicedesk.rounds.queries.ground import Ground, seconds_of
from servicedesk.rounds.queries.stamps import stamp_of_day
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


class KeptDays(Builder):
    """Days on which what stands stays when it was told, and some visits look for a place."""

    def __init__(self, first: date, last: date, now: datetime, looking: list[DueVisit]) -> None:
        super().__init__(first, last, now)
        self.looking = looking
        standing = [row for row in super().owed() if self._stands(row)]
        self.rows = [*standing, *looking]
        self.orders = orders_in_force(standing, self.days)

    def _stands(self, row: DueVisit) -> bool:
        stop = getattr(row, "stop", None)
        return stop is not None and stop.state == StopState.PLANNED and stop.round.day in self.days

    def _as_told(self, row: DueVisit, visit: Visit) -> Visit:
        """What stands on a round is begun when it was said, however it came there."""
        if not self._stands(row):
            return visit
        at = seconds_of(row.stop.planned_at)
        day = self.days.index(row.stop.round.day)
        return replace(visit, seconds=row.stop.minutes * 60, windows=(Window(day, at, at),), technicians=None, skills=frozenset())  # fmt: skip

    def week(self) -> Wanted:
        """These days as a problem, and the rounds in force in them."""
        tanks = {tank.pk: tank for row in self.rows for tank in row.tanks.all()}
        ground = Ground(list(tanks.values()), self.days, self.now)
        shifts = self.people()
        visits = [self._as_told(row, self._visit(row, ground)) for row in self.rows]
        problem = Problem(
            travel=self.travel(),
            visits=tuple(visits),
            shifts=tuple(shifts),
            dimensions=DIMENSIONS,
            names=tuple(self.places.names),
        )
        return Wanted(
            days=self.days,
            problem=problem,
            visits={str(row.pk): row for row in self.rows},
            people={str(person.pk): person for person in technicians()},
            orders={key: order for key, order in self.orders.items() if key in problem.shift},
        )


def inserted(week: Wanted, names: list[str]) -> Iterator[tuple[str, Key, tuple[str, ...], tuple[str, ...]]]:
    """Each of these visits at its cheapest place, one after the other: its name, whose day, the order before and after. A visit without a place is
    left out; rounds that do not hold as they stand take nothing more."""
    orders = dict(week.orders)
    for name in names:
        best = insertions(week.problem, orders, week.problem.visit[name])
        if best:
            key, before = best[0].key, tuple(orders.get(best[0].key, ()))
            orders[key] = with_visit(before, best[0].position, name)
            yield name, key, before, orders[key]


def other_days(homeless: list[DueVisit], today: date, now: datetime) -> dict[str, OtherDay]:
    """For each of these visits the cheapest place on a following day within its tolerance; they go together, and nothing else moves."""
    may = [row for row in homeless if row.latest > today and not _held_today(row, today)]
    if not may:
        return {}
    last = min(max(row.latest for row in may), today + timedelta(days=AHEAD))
    week = KeptDays(today + timedelta(days=1), last, now, may).week()
    return {
        name: _told(week, name, key, before, after)
        for name, key, before, after in inserted(week, [str(row.pk) for row in may])
    }


def _held_today(row: DueVisit, today: date) -> bool:
    pin = getattr(row, "pin", None)
    return pin is not None and pin.day is not None and pin.day <= today


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
