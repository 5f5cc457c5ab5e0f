"""What a week comes to, beside the week before: stops, hours at the wheel and of work, kilometres by road, day by day."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, QuerySet, Sum
from django.utils.translation import gettext as _

from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.rounds.queries.driven import metres_by_day
from servicedesk.web.prepared import DAY, Slot, prepared

MANY = 40
"""A week of more rounds shows a day at a time."""


@dataclass(frozen=True)
class DayTotal:
    """A day of all technicians; minutes, and metres by road."""

    day: date
    rounds: int = 0
    stops: int = 0
    driving: int = 0
    work: int = 0
    metres: int = 0

    @property
    def km(self) -> int:
        return round(self.metres / 1000)


@dataclass(frozen=True)
class WeekTotal:
    """The days of a week, and the same numbers of the week before in sum."""

    days: list[DayTotal]
    before: list[DayTotal]

    @property
    def large(self) -> bool:
        return sum(day.rounds for day in self.days) > MANY

    def numbers(self) -> list[tuple[str, str, str, str]]:
        """What, this week, the week before, and how much more or less; nothing where the week before had no stop."""
        if not any(day.stops for day in self.before):
            return []
        now, was = _sum(self.days), _sum(self.before)
        return [
            (_("Stops"), str(now.stops), str(was.stops), _more(now.stops, was.stops, str)),
            (_("At the wheel"), span(now.driving), span(was.driving), _more(now.driving, was.driving, span)),
            (_("Kilometres"), _km(now.km), _km(was.km), _more(now.km, was.km, _km)),
            (_("Work"), span(now.work), span(was.work), _more(now.work, was.work, span)),
        ]


def _sum(days: list[DayTotal]) -> DayTotal:
    return DayTotal(
        day=days[0].day,
        stops=sum(day.stops for day in days),
        driving=sum(day.driving for day in days),
        work=sum(day.work for day in days),
        metres=sum(day.metres for day in days),
    )


def span(minutes: int) -> str:
    """Hours and minutes in words."""
    if minutes < 60:
        return _("%(m)s min") % {"m": minutes}
    return _("%(h)s h %(m)s min") % {"h": minutes // 60, "m": minutes % 60}


def _km(km: int) -> str:
    return _("%(n)s km") % {"n": km}


def _more(now: int, was: int, words: Callable[[int], str]) -> str:
    if now == was:
        return _("the same")
    said = _("%(much)s more") if now > was else _("%(much)s less")
    return said % {"much": words(abs(now - was))}


@prepared(first=DAY, last=DAY)
def _by_day(first: Slot, last: Slot) -> QuerySet[Stop, Any]:
    rows = Stop.objects.filter(round__day__gte=first, round__day__lte=last)
    counted = (
        rows.exclude(state=StopState.CALLED_OFF)
        .values("round__day")
        .annotate(
            rounds=Count("round", distinct=True),
            stops=Count("pk"),
            driving=Sum("drive_minutes"),
            work=Sum("minutes"),
        )
    )
    return counted.values_list("round__day", "rounds", "stops", "driving", "work").order_by()


def week_total(monday: date) -> WeekTotal:
    """A week and the one before it; what was called off counts for nothing."""
    first, last = monday - timedelta(days=7), monday + timedelta(days=6)
    told = {row[0]: DayTotal(*row) for row in _by_day(first=first, last=last)}
    if any(day < monday for day in told):  # else nothing stands beside it
        driven = metres_by_day(first, last)
        told = {day: replace(total, metres=driven.get(day, 0)) for day, total in told.items()}
    both = [told.get(day, DayTotal(day)) for day in (first + timedelta(days=n) for n in range(14))]
    return WeekTotal(days=both[7:], before=both[:7])
