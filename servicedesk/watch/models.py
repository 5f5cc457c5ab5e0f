"""What wants attention: one row per cause, raised and cleared."""

import uuid
from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clients.models import Site, Tank
from servicedesk.dispatch.models import Gateway, Subscription
from servicedesk.instruments.models import Instrument
from servicedesk.watch.choices import AttentionKind, Severity, Step, Told
from servicedesk.web.facts import Fact

CHATTERS = 3
"""Opened so often within hours, a cause chatters (common practice)."""


def every_day() -> list[int]:
    return list(range(7))


class Attention(models.Model):
    """Something that needs a person: `key` names the cause; open while `cleared_at` is null, one open row per key.
    `sentence` says what, `why` the numbers, `harm_at` when harm is expected to begin, where that can be said. Raised, seen, acted on,
    cleared; set aside only with an end and a name. What opens again within the hour is the same row: three times makes it chatter,
    and a chattering row clears after an hour of calm."""

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
    seen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    acted_at = models.DateTimeField(null=True, blank=True)
    acted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    acted_words = models.CharField(max_length=200, blank=True)
    handed_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    shelved_until = models.DateTimeField(null=True, blank=True)
    shelved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    shelved_why = models.CharField(max_length=200, blank=True)
    opened = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField(null=True)
    calm_since = models.DateTimeField(null=True)
    cleared_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["key"], condition=Q(cleared_at__isnull=True), name="attention_open_once"
            ),
            models.CheckConstraint(
                condition=Q(shelved_until__isnull=True) | Q(shelved_by__isnull=False),
                name="attention_shelved_by",
            ),
        ]
        indexes = [models.Index(fields=["key", "cleared_at"], name="attention_by_key")]

    def __str__(self) -> str:
        return self.sentence

    @property
    def chatters(self) -> bool:
        """Whether it comes and goes."""
        return self.opened >= CHATTERS


class AttentionStep(Fact):
    """What happened to an alarm: who did it, when, in which words."""

    attention = models.ForeignKey(Attention, on_delete=models.PROTECT, related_name="steps")
    step = models.CharField(max_length=8, choices=Step.choices)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="attention_step_once")]
        indexes = [models.Index(fields=["attention", "at"], name="attention_steps")]

    def __str__(self) -> str:
        return self.step


class Telling(models.Model):
    """Somebody was told of an alarm, once; `place` is where they stand in the order of those who answer. In `digest` it went into a summary,
    since that person had got enough for the moment."""

    attention = models.ForeignKey(Attention, on_delete=models.CASCADE, related_name="tellings")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="tellings")
    place = models.PositiveSmallIntegerField(default=0)
    message_key = models.CharField(max_length=200)
    digest = models.BooleanField(default=False)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["attention", "person"], name="telling_once")]
        indexes = [models.Index(fields=["person", "at"], name="telling_by_person")]

    def __str__(self) -> str:
        return self.message_key


class Duty(models.Model):
    """Who answers alarms on which weekdays (Monday is 0) between which hours of the business's zone, and in which order; hours that end
    before they begin run over midnight."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="duties")
    weekdays = models.JSONField(default=every_day)
    begins = models.TimeField(default=time(0, 0))
    ends = models.TimeField(default=time(0, 0))
    order = models.PositiveSmallIntegerField(default=1)
    retired_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.person}"


class Away(models.Model):
    """Days on which a person answers nothing: holidays, illness."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="away")
    from_on = models.DateField()
    until_on = models.DateField()
    why = models.CharField(max_length=100, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(until_on__gte=F("from_on")), name="away_in_order")]

    def __str__(self) -> str:
        return f"{self.person}"


class Reach(models.Model):
    """How a person is told of alarms beside mail: by which gateway, under which number or name, and of how much."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="reaches")
    gateway = models.ForeignKey(Gateway, on_delete=models.PROTECT, related_name="reaches")
    reached_at = models.CharField(max_length=120, blank=True)
    told_of = models.PositiveSmallIntegerField(choices=Told.choices, default=Told.NOW)
    retired_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.person}, {self.gateway}"


class OwnBrowser(models.Model):
    """A browser in which a person has alarms shown, and of how much. `off_at`: they turned it off, or took it from the list; `gone_told_at`: they
    were told that its push service ended it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="browsers")
    subscription = models.OneToOneField(Subscription, on_delete=models.PROTECT, related_name="browser")
    name = models.CharField(max_length=60)
    told_of = models.PositiveSmallIntegerField(choices=Told.choices, default=Told.NOW)
    off_at = models.DateTimeField(null=True, blank=True)
    gone_told_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.person}, {self.name}"


class Awake(models.Model):
    """From then on the watch looked again after a pause of its own: silence is counted from there."""

    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.at}"
