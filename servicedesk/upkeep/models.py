"""What must be done on a tank, and when: calendar rules with windows, and the tasks they make."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clients.models import Equipment, Tank
from servicedesk.stock.models import Item
from servicedesk.upkeep.choices import Every, Outcome, TaskState
from servicedesk.web.facts import Fact


class TaskRule(models.Model):
    """Every so many days, weeks or months this is due on a tank, with a window of days before and after."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="task_rules")
    equipment = models.ForeignKey(
        Equipment, on_delete=models.CASCADE, null=True, blank=True, related_name="task_rules"
    )
    title = models.CharField(max_length=100)
    how = models.TextField(blank=True)
    every = models.PositiveIntegerField(default=4)
    unit = models.CharField(max_length=6, choices=Every.choices, default=Every.WEEKS)
    starts_on = models.DateField()
    before_days = models.PositiveIntegerField(default=3)
    after_days = models.PositiveIntegerField(default=3)
    minutes = models.PositiveIntegerField(default=5)
    hazards = models.JSONField(default=list, blank=True)
    carry = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    carry_amount = models.FloatField(default=0)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["tank", "title"], name="task_rule_title_once"),
            models.CheckConstraint(condition=Q(every__gte=1), name="task_rule_every_one_or_more"),
        ]

    def __str__(self) -> str:
        return self.title


class Task(models.Model):
    """Work owed on a tank. `key` is the rule and the due date, or the cause: the same task twice is impossible."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    key = models.CharField(max_length=120, unique=True)
    rule = models.ForeignKey(TaskRule, on_delete=models.PROTECT, null=True, blank=True, related_name="tasks")
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="tasks")
    equipment = models.ForeignKey(
        Equipment, on_delete=models.PROTECT, null=True, blank=True, related_name="tasks"
    )
    title = models.CharField(max_length=100)
    why = models.CharField(max_length=200, blank=True)
    earliest = models.DateField()
    due = models.DateField()
    latest = models.DateField()
    minutes = models.PositiveIntegerField(default=5)
    hazards = models.JSONField(default=list, blank=True)
    state = models.CharField(max_length=10, choices=TaskState.choices, default=TaskState.OPEN)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(earliest__lte=F("due"), due__lte=F("latest")), name="task_window_in_order"
            ),
            models.CheckConstraint(condition=Q(state__in=TaskState.values), name="task_state_known"),
        ]
        indexes = [models.Index(fields=["state", "latest"], name="task_open_by_latest")]

    def __str__(self) -> str:
        return self.title


class TaskFact(Fact):
    """A task was done, or left with a reason."""

    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="facts")
    outcome = models.CharField(max_length=4, choices=Outcome.choices)
    reason = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="task_fact_once"),
            models.CheckConstraint(condition=Q(outcome="done") | ~Q(reason=""), name="task_left_has_reason"),
        ]

    def __str__(self) -> str:
        return self.outcome
