"""What wants attention: one row per cause, raised and cleared."""

import uuid

from django.db import models
from django.db.models import Q

from clients.models import Site, Tank
from servicedesk.instruments.models import Instrument
from servicedesk.watch.choices import AttentionKind, Severity


class Attention(models.Model):
    """Something that needs a person: `key` names the cause; open while `cleared_at` is null, one open row per key.
    `sentence` says what, `why` the numbers, `harm_at` when harm is expected to begin, where that can be said."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    key = models.CharField(max_length=160)
    kind = models.CharField(max_length=12, choices=AttentionKind.choices)
    severity = models.PositiveSmallIntegerField(choices=Severity.choices)
    site = models.ForeignKey(Site, on_delete=models.CASCADE, null=True, blank=True, related_name="attention")
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, null=True, blank=True, related_name="attention")
    instrument = models.ForeignKey(
        Instrument, on_delete=models.CASCADE, null=True, blank=True, related_name="attention"
    )
    parameter = models.CharField(max_length=30, blank=True)
    word = models.CharField(max_length=20, blank=True)
    sentence = models.CharField(max_length=300)
    why = models.CharField(max_length=400, blank=True)
    address = models.CharField(max_length=200, blank=True)
    harm_at = models.DateTimeField(null=True, blank=True)
    since = models.DateTimeField()
    seen_at = models.DateTimeField(null=True, blank=True)
    cleared_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["key"], condition=Q(cleared_at__isnull=True), name="attention_open_once"
            )
        ]

    def __str__(self) -> str:
        return self.sentence
