"""Which work is owed, and which is overdue."""

from collections.abc import Iterable
from datetime import date

from django.db.models import QuerySet

from clients.models import Tank
from clients.queries import tanks_for
from servicedesk.dispatch.queries import standing
from servicedesk.staff.models import User
from servicedesk.upkeep.choices import TaskState
from servicedesk.upkeep.models import Task, TaskFact


def open_tasks_of(tanks: Iterable[Tank], *, until: date) -> list[Task]:
    """Open tasks of these tanks whose window has begun by that day, soonest due first."""
    rows = Task.objects.filter(tank__in=[t.pk for t in tanks], state=TaskState.OPEN, earliest__lte=until)
    return list(
        rows.select_related("tank", "rule", "rule__carry", "equipment").order_by("due", "title", "pk")
    )


def tasks_for(user: User, *, on: date) -> QuerySet[Task]:
    """Tasks on the tanks that the user may see; none for a contact."""
    rows = Task.objects.select_related("tank", "tank__site", "equipment").order_by("due", "title", "pk")
    if user.is_client:
        return rows.none()
    return rows.filter(tank__in=tanks_for(user, on=on).order_by().values("pk"))


def overdue(user: User, *, on: date) -> list[Task]:
    """Open tasks whose window has passed, oldest first."""
    rows = tasks_for(user, on=on).filter(state=TaskState.OPEN, latest__lt=on, tank__retired_on__isnull=True)
    names = (
        "title",
        "why",
        "due",
        "latest",
        "equipment__name",
        "tank__name",
        "tank__place",
        "tank__site__name",
    )
    return list(rows.order_by("latest", "title", "pk").only(*names))


def last_left(tasks: Iterable[Task]) -> dict[object, TaskFact]:
    """The last time each task was left, with its reason."""
    rows = standing(TaskFact.objects.filter(task__in=[t.pk for t in tasks], outcome="left"))
    rows = rows.order_by("at", "pk").only("task", "reason", "at")
    return {row.task_id: row for row in rows}
