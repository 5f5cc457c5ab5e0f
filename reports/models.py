"""The client's report: one row per visit and version. And house papers, such as the overdue list."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from reports.choices import PaperKind, ReportState, Verdict
from servicedesk.visits.models import Visit
from servicedesk.web.facts import Fact


class Report(models.Model):
    """`content` is what the PDF was drawn from, as of `data_at`: one moment. `hold_reasons` says why it waits for
    the owner's word. The file lies under the papers root."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="reports")
    version = models.PositiveIntegerField()
    number = models.CharField(max_length=20)
    job = models.UUIDField(null=True, blank=True)
    state = models.CharField(max_length=8, choices=ReportState.choices, default=ReportState.WAITING)
    verdict = models.CharField(max_length=8, choices=Verdict.choices, blank=True)
    sentence = models.CharField(max_length=400, blank=True)
    hold_reasons = models.JSONField(default=list, blank=True)
    changes = models.JSONField(default=list, blank=True)
    content = models.JSONField(default=dict, blank=True)
    data_at = models.DateTimeField(null=True, blank=True)
    file = models.CharField(max_length=120, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    error = models.TextField(blank=True)
    made_at = models.DateTimeField()
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "version"], name="report_version_once"),
            models.UniqueConstraint(fields=["number", "version"], name="report_number_once"),
            models.CheckConstraint(condition=Q(state__in=ReportState.values), name="report_state_known"),
        ]

    def __str__(self) -> str:
        return f"{self.number} version {self.version}"


class Answer(Fact):
    """A yes or a no to what a report recommends: `question` is the journal entry that asked, `report` the version
    in which it was read. Answers are added; the last one counts."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="answers")
    question = models.UUIDField(db_index=True)
    yes = models.BooleanField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="answer_once")]

    def __str__(self) -> str:
        return f"{'yes' if self.yes else 'no'} to {self.question}"


class Running(models.Model):
    """The last number given to a report in a year. One row per year, counted up under its lock."""

    year = models.PositiveIntegerField(primary_key=True)
    last = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.year}-{self.last:04d}"


class Paper(models.Model):
    """A paper for the house, made once per kind and day."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=10, choices=PaperKind.choices)
    day = models.DateField()
    file = models.CharField(max_length=120)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "day"], name="paper_once_a_day")]

    def __str__(self) -> str:
        return f"{self.kind} {self.day}"
