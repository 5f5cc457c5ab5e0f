"""A visit is a journal: entries are added, never altered; facts in other rooms are made from them."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from clients.models import Site, Tank
from servicedesk.rounds.models import DueVisit
from servicedesk.visits.choices import EntryKind, VisitState


class Visit(models.Model):
    """One stop carried out. Its id equals its DueVisit's id, so that two tablets open the same visit."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    due_visit = models.OneToOneField(DueVisit, on_delete=models.PROTECT, related_name="visit")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    technician = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="visits")
    state = models.CharField(max_length=6, choices=VisitState.choices, default=VisitState.OPEN)
    arrived_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    versions = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, state="open")
                | Q(closed_at__isnull=False, closed_by__isnull=False, state="closed"),
                name="visit_closed_at_by_and_state_together",
            )
        ]

    def __str__(self) -> str:
        return f"{self.site} {self.arrived_at:%Y-%m-%d}"


class Entry(models.Model):
    """One line of the journal. The id is made on the tablet (or in the drawn form); sha256 is of kind and payload."""

    id = models.UUIDField(primary_key=True, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=14, choices=EntryKind.choices)
    payload = models.JSONField()
    sha256 = models.CharField(max_length=64)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="entries")
    tablet = models.CharField(max_length=60, blank=True)
    seq = models.PositiveIntegerField(default=0)
    tablet_time = models.DateTimeField()
    zone = models.CharField(max_length=60, blank=True)
    clock_offset = models.FloatField(default=0)
    at = models.DateTimeField()
    received_at = models.DateTimeField()
    addition = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=EntryKind.values), name="entry_kind_known")
        ]
        indexes = [models.Index(fields=["visit", "at"], name="entry_by_visit")]

    def __str__(self) -> str:
        return self.kind


class Photo(models.Model):
    """A photo of a visit, its file written anew without any metadata. `file` is a random name under the media root."""

    id = models.UUIDField(primary_key=True, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="photos")
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, null=True, related_name="photos")
    file = models.CharField(max_length=120)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return self.caption or str(self.taken_at)
