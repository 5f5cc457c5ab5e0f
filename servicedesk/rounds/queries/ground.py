"""What planning reckons with: hours of access, prices of what it gives to avoid, and what is known of the tanks."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, time
from math import ceil
from uuid import UUID

from django.utils.translation import ngettext

from clients.choices import TankState
from clients.models import Site, Tank
from clients.queries import states_of
from servicedesk.core.rounds.problem import CLEAN, DAY_S, ISOLATED, SUSPECT, Window
from servicedesk.rounds.models import DueVisit
from servicedesk.rounds.queries.load import boxes_of, carried, water_of, weight_of
from servicedesk.stock.models import Item
from servicedesk.supply.models import RunOut
from servicedesk.upkeep.models import Task
from servicedesk.upkeep.queries import open_tasks_of

OFF_DAY, OFF_TIME, ANOTHER, LATE, AFTER_EMPTY = 600, 300, 900, 3600, 7200
"""What planning gives to avoid, in seconds at the wheel (common practice): a day off the due day; another time than they like best; somebody
else than usual; each day after the last one; each day after something there ran empty."""
LEAVE_OUT = 40 * 3600
"""A visit is left out only where a whole week at the wheel would not bring it in."""
NEXT_WEEK = 4 * 3600
"""One that can wait for the days after these is left out rather than driven four hours for."""
BESIDE_WISHED = 45 * 60


def seconds_of(moment: time) -> int:
    """Seconds since midnight."""
    return moment.hour * 3600 + moment.minute * 60 + moment.second


def time_of(seconds: int) -> time:
    """The time of a day so many seconds after midnight, the last minute of the day at the most."""
    minutes = min(seconds // 60, 24 * 60 - 1)
    return time(minutes // 60, minutes % 60)


def windows_of_day(day: int, first: int, last: int, price: int, wished: time | None) -> list[Window]:
    """A window, and within it the time that they like best at no more."""
    if first > last:
        return []
    if wished is None:
        return [Window(day, first, last, price)]
    near = max(first, seconds_of(wished) - BESIDE_WISHED), min(last, seconds_of(wished) + BESIDE_WISHED)
    if near[0] > near[1] or near == (first, last):
        return [Window(day, first, last, price + (OFF_TIME if near[0] > near[1] else 0))]
    return [Window(day, *near, price), Window(day, first, last, price + OFF_TIME)]


def open_hours(site: Site, day: date) -> list[tuple[int, int]]:
    """From when to when one gets in that day, in seconds since midnight; several windows, or none."""
    if any(row.from_on <= day <= row.until_on for row in site.closed_days.all()):
        return []
    return hours_on(site, day.weekday())


def hours_on(site: Site, weekday: int) -> list[tuple[int, int]]:
    """The same for a weekday as a rule, whatever days are closed."""
    rows = [row for row in site.hours.all() if row.retired_on is None]
    if rows:
        return sorted((seconds_of(r.opens), seconds_of(r.closes)) for r in rows if weekday in r.weekdays)
    if site.opens is None or site.closes is None:
        opens = seconds_of(site.opens) if site.opens else 0
        return [(opens, seconds_of(site.closes) if site.closes else DAY_S - 1)]
    if site.closes <= site.opens:  # over midnight
        return [(0, seconds_of(site.closes)), (seconds_of(site.opens), DAY_S - 1)]
    return [(seconds_of(site.opens), seconds_of(site.closes))]


class Ground:
    """What is known of the tanks, asked once for all of them: tasks, states, water, what runs empty."""

    def __init__(self, tanks: list[Tank], days: list[date], now: datetime) -> None:
        self.tasks: dict[UUID, list[Task]] = defaultdict(list)
        for task in open_tasks_of(tanks, until=days[-1]):
            self.tasks[task.tank_id].append(task)
        self.states = states_of(tanks, days[0])
        self.water = water_of(tanks, at=now)
        self.out: dict[UUID, RunOut] = {}
        self.fills: dict[UUID, list[RunOut]] = defaultdict(list)
        rows = RunOut.objects.filter(tank__in=tanks, empty_on__lte=days[-1]).select_related("item")
        for row in rows.order_by("-empty_on", "pk"):
            self.out[row.tank_id] = row
            self.fills[row.tank_id].append(row)

    def _work(self, row: DueVisit, tanks: list[Tank]) -> list[Task]:
        return [task for tank in tanks for task in self.tasks[tank.pk] if task.earliest <= row.latest]

    def minutes(self, row: DueVisit, tanks: list[Tank]) -> tuple[int, list[str]]:
        """How long the visit takes with the work that is due there by then, and that in words."""
        work = self._work(row, tanks)
        more = sum(task.minutes for task in work)
        if not more:
            return row.minutes, []
        words = ngettext(
            "%(m)s min longer: one task is due", "%(m)s min longer: %(n)s tasks are due", len(work)
        )
        return row.minutes + more, [words % {"m": more, "n": len(work)}]

    def empty(self, tanks: list[Tank]) -> RunOut | None:
        """What runs empty there first."""
        return min(
            (self.out[t.pk] for t in tanks if t.pk in self.out), key=lambda r: r.empty_on, default=None
        )

    def level(self, tanks: list[Tank]) -> int:
        """A tank under treatment is suspect (common practice)."""
        states = {self.states[tank.pk].state for tank in tanks if tank.pk in self.states}
        if TankState.ISOLATION in states:
            return ISOLATED
        return SUSPECT if TankState.TREATMENT in states else CLEAN

    def loads(self, row: DueVisit, tanks: list[Tank]) -> tuple[int, int, int]:
        """Litres of mixed water, kilograms and boxes: water as at the last change, what the tasks there ask for, and what fills again that runs empty
        by the last of these days."""
        water = [self.water[tank.pk] for tank in tanks if tank.pk in self.water]
        things: dict[Item, float] = defaultdict(float, carried(self._work(row, tanks)))
        for out in [out for tank in tanks for out in self.fills[tank.pk]]:
            things[out.item] += out.fill
        kg = sum(kg for _litres, kg in water) + sum(weight_of(*thing) or 0.0 for thing in things.items())
        return ceil(sum(litres for litres, _kg in water)), ceil(round(kg, 6)), boxes_of(things)
