"""Making tasks from calendar rules, and recording what became of them."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from clients.models import Equipment, Tank
from servicedesk.core.recurrence.due import Rule, occurrences
from servicedesk.dispatch.queries import standing
from servicedesk.staff.models import User
from servicedesk.upkeep.choices import Outcome, TaskState
from servicedesk.upkeep.models import Task, TaskFact, TaskRule

NAMED = UUID("7f6f2f3a-6d0c-4d0e-9a53-5b1f4c9f0f51")
DAYS = {"days": 1, "weeks": 7, "months": 31}


class NotLeft(Exception):
    """A task may be left, but with a reason."""


def rule_of(row: TaskRule) -> Rule:
    """The calendar rule of a row, as the core computes with it."""
    return Rule(
        every_n=row.every,
        unit=row.unit,
        anchor=row.starts_on,
        weekday=None,
        before_days=row.before_days,
        after_days=row.after_days,
    )


@transaction.atomic
def make_tasks(*, on: date, at: datetime, ahead_days: int = 35) -> int:
    """Make the tasks of all rules that fall due up to `ahead_days` ahead, and those of the last interval that
    nobody made; how many were new. A rule and a due date make one task, however often this runs. An older open
    task of the same rule stays until it is done: the next ones wait for it."""
    rows = TaskRule.objects.filter(retired_on__isnull=True, tank__retired_on__isnull=True).select_related(
        "tank"
    )
    known = set(Task.objects.filter(rule__in=rows).values_list("key", flat=True))
    new = []
    for row in rows.order_by("pk"):
        first = max(row.starts_on, on - timedelta(days=row.every * DAYS[row.unit]))
        for window in occurrences(rule_of(row), first, on + timedelta(days=ahead_days)):
            key = f"{row.pk}:{window.due.isoformat()}"
            if key in known:
                continue
            new.append(
                Task(
                    key=key,
                    rule=row,
                    tank=row.tank,
                    equipment_id=row.equipment_id,
                    title=row.title,
                    earliest=window.earliest,
                    due=window.due,
                    latest=window.latest,
                    minutes=row.minutes,
                    hazards=row.hazards,
                    made_at=at,
                )
            )
    before = Task.objects.count()
    Task.objects.bulk_create(new, ignore_conflicts=True, batch_size=500)
    return Task.objects.count() - before


@transaction.atomic
def raise_task(
    *,
    tank: Tank,
    key: str,
    title: str,
    why: str,
    earliest: date,
    due: date,
    latest: date,
    at: datetime,
    minutes: int = 5,
    equipment: Equipment | None = None,
    hazards: list[str] | None = None,
) -> Task:
    """A task from a cause, named once by `key`, which also makes its id."""
    row, _made = Task.objects.get_or_create(
        key=key,
        defaults={
            "id": uuid5(NAMED, key),
            "tank": tank,
            "equipment": equipment,
            "title": title,
            "why": why,
            "earliest": earliest,
            "due": due,
            "latest": latest,
            "minutes": minutes,
            "hazards": hazards or [],
            "made_at": at,
        },
    )
    return row


def _fact(*, task: Task, outcome: str, reason: str, **rest: Any) -> tuple[TaskFact, bool]:
    origin, part = rest.pop("origin"), rest.pop("part")
    return TaskFact.objects.get_or_create(
        origin=origin, part=part, defaults={"task": task, "outcome": outcome, "reason": reason, **rest}
    )


@transaction.atomic
def finish_task(
    *, task: Task, at: datetime, by: User | None, origin: UUID, part: int = 0, received_at: datetime
) -> TaskFact:
    """The task was done. Older open tasks of the same rule are done with it."""
    fact, made = _fact(
        task=task,
        outcome=Outcome.DONE,
        reason="",
        at=at,
        by=by,
        origin=origin,
        part=part,
        received_at=received_at,
    )
    if made:
        Task.objects.filter(pk=task.pk, state=TaskState.OPEN).update(state=TaskState.DONE)
        if task.rule_id:
            older = Task.objects.filter(rule=task.rule_id, state=TaskState.OPEN, due__lt=task.due)
            older.update(state=TaskState.CALLED_OFF)
    return fact


@transaction.atomic
def leave_task(
    *,
    task: Task,
    reason: str,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
) -> TaskFact:
    """The task was left: it stays open and the reason is kept."""
    if not reason.strip():
        raise NotLeft("Say why it was left.")
    return _fact(
        task=task,
        outcome=Outcome.LEFT,
        reason=reason,
        at=at,
        by=by,
        origin=origin,
        part=part,
        received_at=received_at,
    )[0]


@transaction.atomic
def reopen_task(*, task: Task) -> None:
    """What was said to be done was taken back: the task is open again, unless it was done another time."""
    done = standing(TaskFact.objects.filter(task=task, outcome=Outcome.DONE))
    if not done.exists():
        Task.objects.filter(pk=task.pk, state=TaskState.DONE).update(state=TaskState.OPEN)


@transaction.atomic
def call_off(*, keys: list[str]) -> int:
    """Open tasks of a cause that fell away are called off; how many."""
    return Task.objects.filter(key__in=keys, state=TaskState.OPEN).update(state=TaskState.CALLED_OFF)
