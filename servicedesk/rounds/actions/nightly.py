"""New visits go into the rounds in force where that costs least, and nobody who was told a time moves."""

from datetime import date, datetime, timedelta

from django.db import transaction

from servicedesk.core.rounds.problem import Key
from servicedesk.core.rounds.problem import NotPlanned as NotReckoned
from servicedesk.core.rounds.rules import judge
from servicedesk.rounds.actions.planning import put_on_round, waiting
from servicedesk.rounds.models import DueVisit, Stop
from servicedesk.rounds.queries.found import Line, lines_of_round
from servicedesk.rounds.queries.other_days import KeptDays, inserted

AT_ONCE = timedelta(days=6)
"""A week is looked at at a time."""
MOST = 500
"""So many visits a week are put in one by one; a business's first weeks are for the planner."""


def place_new(*, first: date, last: date, now: datetime) -> int:
    """Put visits that wait in these days into the rounds in force, each at its cheapest place within its tolerance, a week after the other; how many
    were put. What cannot be reckoned stays as it was: a site that stands nowhere, a visit for two, one that finds no place."""
    placed, day = 0, first
    while day <= last:
        end = min(day + AT_ONCE, last)
        rows = [row for row in waiting(first=day, last=end) if _can_be_reckoned(row, day, end)]
        if rows:
            placed += _place(day, end, now, rows[:MOST])
        day = end + timedelta(days=1)
    return placed


def _can_be_reckoned(row: DueVisit, first: date, last: date) -> bool:
    pin = getattr(row, "pin", None)
    here = pin is None or pin.day is None or first <= pin.day <= last
    assert row.plan is not None
    return here and row.site.lat is not None and row.site.lon is not None and row.plan.people == 1


@transaction.atomic
def _place(first: date, last: date, now: datetime, rows: list[DueVisit]) -> int:
    new, touched = set[str](), dict[Key, tuple[str, ...]]()
    try:
        week = KeptDays(first, last, now, rows).week()
        for name, key, _before, order in inserted(week, [str(row.pk) for row in rows]):
            new.add(name)
            touched[key] = order
        plan = judge(week.problem, touched)[0]
    except NotReckoned:
        return 0
    for row in plan.rounds:
        _write(lines_of_round(week, row), new)
    return len(new)


def _write(lines: list[Line], new: set[str]) -> None:
    """A round with what is new in it: what stood there keeps its time, and gets its place in the order and the way to it."""
    for line in lines:
        assert line.technician is not None and line.day is not None and line.planned_at is not None
        if str(line.due_visit.pk) in new:
            put_on_round(
                due_visit=line.due_visit,
                day=line.day,
                technician=line.technician,
                order=line.order,
                planned_at=line.planned_at,
                minutes=line.minutes,
                drive_minutes=line.drive_minutes,
            )
        else:
            Stop.objects.filter(due_visit=line.due_visit).update(
                order=line.order, drive_minutes=line.drive_minutes
            )
