"""Which work is owed, and which is overdue."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import QuerySet

from clients.models import Tank
from clients.queries import tanks_for
from servicedesk.dispatch.queries import standing
from servicedesk.staff.models import User
from servicedesk.upkeep.choices import TaskState
from servicedesk.upkeep.models import Task, TaskFact
from servicedesk.web.prepared import DAY, KEYS, Slot, prepared


@prepared(tanks=KEYS, until=DAY)
def _open_tasks(tanks: Slot, until: Slot) -> QuerySet[Task]:
    rows = Task.objects.filter(tank__in=tanks, state=TaskState.OPEN, earliest__lte=until)
    return rows.select_related("rule", "rule__carry", "equipment").order_by("due", "title", "pk")


def open_tasks_of(tanks: Iterable[Tank], *, until: date) -> list[Task]:
    """Open tasks of these tanks whose window has begun by that day, soonest due first."""
    known = {tank.pk: tank for tank in tanks}
    rows = _open_tasks(tanks=known, until=until)
    for task in rows:
        task.tank = known[task.tank_id]
    return rows


def tasks_for(user: User, *, on: date) -> QuerySet[Task]:
    """Tasks on the tanks that the user may see; none for a contact."""
    rows = Task.objects.select_related("tank", "tank__site", "equipment").order_by("due", "title", "pk")
    if user.is_client:
        return rows.none()
    return rows.filter(tank__in=tanks_for(user, on=on).order_by().values("pk"))


SHOWN = (
    *("title", "why", "due", "latest", "equipment__name"),
    *("tank__name", "tank__place", "tank__site__name"),
)


def _passed(rows: QuerySet[Task], on: Any) -> QuerySet[Task]:
    rows = rows.filter(state=TaskState.OPEN, latest__lt=on, tank__retired_on__isnull=True)
    return rows.order_by("latest", "title", "pk").only(*SHOWN)


@prepared(on=DAY)
def _overdue(on: Slot) -> QuerySet[Task]:
    return _passed(Task.objects.select_related("tank", "tank__site", "equipment"), on)


def overdue(user: User, *, on: date) -> list[Task]:
    """Open tasks whose window has passed, oldest first."""
    if user.is_office:  # sees every tank
        return _overdue(on=on)
    return list(_passed(tasks_for(user, on=on), on))


@prepared(tasks=KEYS)
def _left(tasks: Slot) -> QuerySet[TaskFact]:
    rows = standing(TaskFact.objects.filter(task__in=tasks, outcome="left"))
    return rows.order_by("at", "pk").only("task", "reason", "at")


def last_left(tasks: Iterable[Task]) -> dict[object, TaskFact]:
    """The last time each task was left, with its reason."""
    return {row.task_id: row for row in _left(tasks=[t.pk for t in tasks])}
