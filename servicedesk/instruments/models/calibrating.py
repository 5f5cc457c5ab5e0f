"""Calibrating: a procedure that is under way, its steps, and the calibration that comes of it."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from servicedesk.dosing.models import Channel
from servicedesk.instruments.choices import ProcedureEnd, ProcedureKind
from servicedesk.stock.models import Lot
from servicedesk.web.facts import Fact


class Procedure(models.Model):
    """A measure of an instrument, or a dosing channel at it, is being calibrated: begun by whom and when, how it ended. One at a time is open.
    `visit` and `task` are the ids of those from whose page it was begun. From `away_from` to `away_to` what it senses is a standard and not the
    tank's water."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(
        "instruments.Instrument", on_delete=models.PROTECT, related_name="procedures"
    )
    measure = models.ForeignKey(
        "instruments.Measure", on_delete=models.PROTECT, null=True, related_name="procedures"
    )
    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, null=True, related_name="procedures")
    kind = models.CharField(max_length=11, choices=ProcedureKind.choices)
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_as = models.CharField(max_length=8, choices=ProcedureEnd.choices, blank=True, default="")
    visit = models.UUIDField(null=True)
    task = models.UUIDField(null=True)
    away_from = models.DateTimeField(null=True)
    away_to = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(measure__isnull=False, channel__isnull=True)
                | Q(measure__isnull=True, channel__isnull=False),
                name="procedure_of_one_thing",
            ),
            models.UniqueConstraint(
                fields=["measure"], condition=Q(ended_at__isnull=True), name="procedure_open_once"
            ),
            models.UniqueConstraint(
                fields=["channel"], condition=Q(ended_at__isnull=True), name="procedure_of_channel_open_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.begun_at:%Y-%m-%d}"


class ProcedureStep(Fact):
    """A step of a procedure was done, perhaps again: then those after it count no more. What was typed and found, in words and numbers."""

    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="steps")
    step = models.CharField(max_length=10)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    words = models.CharField(max_length=300)
    data = models.JSONField(default=dict)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="procedure_step_once")]

    def __str__(self) -> str:
        return self.words


class Calibration(Fact):
    """An instrument was calibrated against a reference value: what it showed before and after, canonical units. Where a procedure led to it:
    which, the value that was true when `after` was shown, the standard's lot, and what was found, as far as it was: slope (mV per pH) and
    offset (mV at pH 7) of an electrode, or the factor or the offset (canonical unit) by which it was to be set. `left_as_is`: it was
    compared only, nothing was set, and what was known of it before still tells."""

    measure = models.ForeignKey("instruments.Measure", on_delete=models.PROTECT, related_name="calibrations")
    at = models.DateTimeField()
    reference = models.FloatField()
    reference_u = models.FloatField(null=True)
    before = models.FloatField()
    after = models.FloatField(null=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, null=True, related_name="calibrations")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, related_name="+")
    after_reference = models.FloatField(null=True)
    slope_mv_per_ph = models.FloatField(null=True)
    offset_mv = models.FloatField(null=True)
    factor = models.FloatField(null=True)
    offset = models.FloatField(null=True)
    left_as_is = models.BooleanField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="calibration_once")]

    def __str__(self) -> str:
        return f"{self.before} → {self.after}"
