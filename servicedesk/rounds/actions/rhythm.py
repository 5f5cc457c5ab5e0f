"""What a service plan owes follows the plan: visits of a rhythm that is no more fall away, those that it wants again stand again."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.db import transaction

from clients.models import ServicePlan
from servicedesk.rounds.actions.placing import take_off
from servicedesk.rounds.actions.planning import put_on_round, tanks_of, windows_of
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.staff.models import User

AHEAD = timedelta(days=35)
"""So far ahead visits are owed."""


def standing_from(plan: ServicePlan, from_on: date) -> list[DueVisit]:
    """Visits of a plan that are owed from a day on and have not begun."""
    rows = DueVisit.objects.filter(plan=plan, due__gte=from_on, called_off_at__isnull=True)
    rows = rows.exclude(stop__state__in=(StopState.UNDER_WAY, StopState.CLOSED))
    return list(rows.select_related("stop").order_by("due", "pk"))


def fall_away(visit: DueVisit, by: User, at: datetime) -> None:
    """A visit is no longer owed; whoever had it on a round is told."""
    stop = getattr(visit, "stop", None)
    if stop is not None and stop.state == StopState.PLANNED:
        take_off(due_visit=visit, by=by, at=at)
    DueVisit.objects.filter(pk=visit.pk).update(called_off_at=at)


def stand_again(plan: ServicePlan, visits: Iterable[DueVisit]) -> None:
    """Visits that fell away and are owed once more, where they stood if the plan's technician had them."""
    for visit in visits:
        DueVisit.objects.filter(pk=visit.pk).update(called_off_at=None)
        stop = Stop.objects.select_related("round__technician").filter(due_visit=visit).first()
        driver = stop.round.technician if stop is not None else None
        if stop is not None and driver is not None and driver == plan.technician and driver.is_active:
            put_on_round(
                due_visit=visit,
                day=stop.round.day,
                technician=driver,
                order=stop.order,
                planned_at=stop.planned_at,
                minutes=stop.minutes,
                drive_minutes=stop.drive_minutes,
            )


@transaction.atomic
def follow_plan(*, plan: ServicePlan, by: User, today: date, at: datetime) -> None:
    """From tomorrow on what is owed is what the plan now says: its days, how early and late, how long, its name, its tanks. Visits it no longer
    wants, or at which no tank of it is left, fall away, and who had them on a round is told; what has begun stays. New ones are owed by `owe_visits`."""
    row = (
        ServicePlan.objects.select_related("site", "technician")
        .prefetch_related("tanks", "changes")
        .get(pk=plan.pk)
    )
    from_on = today + timedelta(days=1)
    standing = standing_from(row, from_on)
    last = max([today + AHEAD, *(visit.due for visit in standing)])
    windows = {window.due: window for window in windows_of(row, from_on, last)}
    for visit in standing:
        if visit.due not in windows:
            fall_away(visit, by, at)
    wanted = DueVisit.objects.filter(plan=row, due__in=windows, called_off_at__isnull=False)
    there = [visit for visit in wanted.order_by("due", "pk") if tanks_of(row, visit.due)[visit.isolated]]
    stand_again(row, there)
    for visit in standing_from(row, from_on):
        window = windows[visit.due]
        DueVisit.objects.filter(pk=visit.pk).update(
            earliest=window.earliest, latest=window.latest, minutes=row.minutes, why=row.name
        )
        tanks = tanks_of(row, visit.due)[visit.isolated]
        if tanks:
            visit.tanks.set(tanks)
        else:
            fall_away(visit, by, at)
