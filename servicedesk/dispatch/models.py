"""The ledger of work: jobs and messages as rows. The queue is only a bell; these tables are the truth."""

import uuid

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from servicedesk.dispatch.choices import Body, Channel, JobState, MessageState
from servicedesk.web import posting
from servicedesk.web.facts import Fact


class Job(models.Model):
    """A piece of work. `key` names it once for ever; `attempt` is the fence for whoever finishes it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=60)
    key = models.CharField(max_length=200, unique=True)
    args = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.QUEUED)
    attempt = models.PositiveIntegerField(default=0)
    not_before = models.DateTimeField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    rung_at = models.DateTimeField(null=True, blank=True)
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(default=0)
    progress_note = models.CharField(max_length=200, blank=True)
    result = models.JSONField(default=dict)
    error = models.TextField(blank=True)
    made_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=JobState.values), name="job_state_known"),
            models.CheckConstraint(
                condition=Q(finished_at__isnull=True) | Q(state__in=["done", "failed"]),
                name="job_finished_has_end",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "lease_until"], name="job_open"),
            models.Index(fields=["kind", "finished_at"], name="job_last"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class Gateway(models.Model):
    """An address that takes messages by HTTP POST: for text messages, calls, chat, or a program of one's own. `template` is the body,
    with {to}, {subject}, {text} and {id} where the words go; `header` is one line "Name: value" that it wants and `signing_key` signs what
    is sent (both secrets)."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=60)
    url = models.URLField(max_length=300)
    body = models.CharField(max_length=40, choices=Body.choices, default=Body.JSON)
    template = models.TextField(max_length=2000)
    header = models.CharField(max_length=300, blank=True)
    signing_key = models.CharField(max_length=120, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(url="") & ~Q(template=""), name="gateway_has_address"),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """The template, the line and the key can be used."""
        checks = (
            ("template", lambda: posting.check_template(self.template, self.body)),
            ("header", lambda: posting.header_of(self.header)),
            ("signing_key", lambda: posting.key_of(self.signing_key)),
        )
        wrong = {}
        for field, check in checks:
            try:
                check()
            except posting.NotUsable as sentence:
                wrong[field] = str(sentence)
        if wrong:
            raise ValidationError(wrong)


class Subscription(models.Model):
    """A browser that takes messages (W3C Push API): where its push service takes them, the browser's public key and the secret that it shares
    with us. Once it is gone, address and keys are forgotten."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    endpoint = models.CharField(max_length=1000, blank=True)
    p256dh = models.CharField(max_length=100, blank=True)
    auth = models.CharField(max_length=40, blank=True)
    made_at = models.DateTimeField()
    last_ok_at = models.DateTimeField(null=True, blank=True)
    gone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["endpoint"], condition=Q(gone_at__isnull=True), name="subscription_once"
            ),
            models.CheckConstraint(
                condition=Q(gone_at__isnull=True) & ~Q(endpoint="") & ~Q(p256dh="") & ~Q(auth="")
                | Q(gone_at__isnull=False, endpoint="", p256dh="", auth=""),
                name="subscription_has_keys_or_is_gone",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pk}"


class Message(models.Model):
    """One message to one recipient. `message_id` stays the same when it has to be sent again. What goes to a browser also has `link`, the page
    it leads to, and may be `urgent`."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    key = models.CharField(max_length=200, unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, related_name="messages")
    channel = models.CharField(max_length=10, choices=Channel.choices, default=Channel.MAIL)
    gateway = models.ForeignKey(Gateway, on_delete=models.PROTECT, null=True, related_name="messages")
    subscription = models.ForeignKey(
        Subscription, on_delete=models.PROTECT, null=True, related_name="messages"
    )
    recipient = models.CharField(max_length=254)
    message_id = models.CharField(max_length=200, unique=True)
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField(blank=True)
    link = models.CharField(max_length=200, blank=True)
    urgent = models.BooleanField(default=False)
    attachment = models.CharField(max_length=300, blank=True)
    attachment_name = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=10, choices=MessageState.choices, default=MessageState.QUEUED)
    tries = models.PositiveIntegerField(default=0)
    not_before = models.DateTimeField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    error = models.TextField(blank=True)
    made_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=MessageState.values), name="message_state_known"),
            models.CheckConstraint(
                condition=Q(sent_at__isnull=True) | Q(state="sent"), name="message_sent_has_time"
            ),
            models.CheckConstraint(
                condition=Q(gateway__isnull=True, subscription__isnull=True, channel="mail")
                | Q(gateway__isnull=False, subscription__isnull=True, channel="gateway")
                | Q(gateway__isnull=True, subscription__isnull=False, channel="push"),
                name="message_way_by_channel",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject} to {self.recipient}"


class Erasure(models.Model):
    """While one is open, facts may be removed (never altered): for erasing a person's data by law."""

    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    why = models.CharField(max_length=200)

    def __str__(self) -> str:
        return self.why


class Withdrawal(Fact):
    """What was made from one piece of news (a journal entry: `withdrawn` is its id, the origin of its facts) did not
    happen, because. The facts stay where they are; whoever reads them asks for those that stand."""

    withdrawn = models.UUIDField(unique=True)
    at = models.DateTimeField()
    why = models.CharField(max_length=200)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="withdrawal_once")]

    def __str__(self) -> str:
        return self.why
