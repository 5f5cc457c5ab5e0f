"""Unattended instruments: what they measure, their tokens, what they delivered, their reagents, calibrations, trust."""

import uuid

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from clients.models import Equipment, Tank
from servicedesk.dosing.models import Channel
from servicedesk.instruments.choices import (  # fmt: skip
    DeliveryState,
    OwnDosing,
    PullShape,
    Reports,
    SignKind,
    Stage,
    Trust,
)
from servicedesk.instruments.models.calibrating import Calibration, Procedure, ProcedureStep
from servicedesk.instruments.models.choosing import Candidate, can_be_read
from servicedesk.instruments.models.displays import DisplayPhoto as DisplayPhoto
from servicedesk.instruments.models.displays import DisplayRead as DisplayRead
from servicedesk.stock.models import Item, Lot
from servicedesk.water.models import Method
from servicedesk.web.facts import Fact

__all__ = [
    "Calibration",
    "Candidate",
    "Commissioning",
    "Delivery",
    "Instrument",
    "Measure",
    "Procedure",
    "ProcedureStep",
    "Pull",
    "ReagentLoad",
    "SentDose",
    "SentSign",
    "Sign",
    "StageDone",
    "Token",
    "TrustMove",
    "can_be_read",
    "plain_name",
]


def plain_name(text: str) -> None:
    """Refuses, in words, a name that cannot be one level of a topic."""
    if any(sign in text for sign in "/+#") or not text.isprintable() or text != text.strip():
        raise ValidationError("A name on the broker has no “/”, “+” or “#” in it.")


def name_at_relay(text: str) -> None:
    """Refuses, in words, a name by which a relay cannot tell an instrument."""
    if any(sign in text for sign in "+#") or not text.isprintable() or text != text.strip("/: "):
        raise ValidationError("A name at a relay has no “+” or “#”, and no “/” or “:” at its ends.")
    if text.lower() == "status":
        raise ValidationError("“status” is what a relay says of itself. Give it another name there.")


class Instrument(models.Model):
    """A device that measures and reports by itself, a free combination of attributes. Reports every `interval_minutes`, at most
    `grace_minutes` late. `says_faults`: it can report that something is wrong with it; else only silence, stuck values and
    agreement tell. `silent_after_minutes` is what the watch learned of its habit; `mqtt_name` its topic on the broker. A result within `after_dose_minutes` of a dose is not of mixed water. Set-points in the canonical unit.
    One that `relays` has the line for others at its site, and may measure nothing; what comes `through` it goes by `relay_name` there."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    equipment = models.OneToOneField(Equipment, on_delete=models.PROTECT, related_name="instrument")
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="instruments")
    interval_minutes = models.PositiveIntegerField(default=360)
    grace_minutes = models.PositiveIntegerField(default=60)
    last_contact_at = models.DateTimeField(null=True, blank=True)
    silent_after_minutes = models.PositiveIntegerField(null=True, editable=False)
    reports_by = models.CharField(max_length=6, choices=Reports.choices, default=Reports.HTTPS)
    says_faults = models.BooleanField(default=False)
    warm_up_minutes = models.PositiveIntegerField(default=0)
    own_standard = models.BooleanField(default=False)
    own_dosing = models.CharField(max_length=10, choices=OwnDosing.choices, default=OwnDosing.NONE)
    dosing_channel = models.ForeignKey(
        Channel, on_delete=models.PROTECT, null=True, blank=True, related_name="drivers"
    )
    dose_low = models.FloatField(null=True, blank=True)
    dose_high = models.FloatField(null=True, blank=True)
    after_dose_minutes = models.PositiveIntegerField(default=0)
    upkeep_words = models.CharField(max_length=200, blank=True)
    mqtt_name = models.CharField(max_length=60, blank=True, default="", validators=[plain_name])
    relays = models.BooleanField(default=False)
    through = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="relayed")
    relay_name = models.CharField(max_length=60, blank=True, default="", validators=[name_at_relay])

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["mqtt_name"], condition=~Q(mqtt_name=""), name="instrument_mqtt_name_once"
            ),
            models.CheckConstraint(
                condition=Q(dose_low__isnull=True) | Q(dose_high__isnull=True) | Q(dose_low__lt=F("dose_high")),
                name="instrument_set_points_in_order",
            ),
            models.CheckConstraint(condition=Q(relays=False) | Q(through__isnull=True), name="instrument_relays_no_relay"),
            models.CheckConstraint(
                condition=Q(through__isnull=True, relay_name="") | (Q(through__isnull=False) & ~Q(relay_name="")),
                name="instrument_named_at_relay",
            ),
            models.UniqueConstraint(fields=["through", "relay_name"], name="instrument_relay_name_once"),
        ]  # fmt: skip

    def __str__(self) -> str:
        return str(self.equipment)


class Measure(models.Model):
    """One parameter an instrument measures: under which name and unit it sends it, by which method (with its
    stated tolerance), with which reagent, how much of it a test takes and how many tests it makes a day. A one-way analogue line
    sends volts: two calibrated points (volts, and the value in the canonical unit) turn them."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(Instrument, on_delete=models.CASCADE, related_name="measures")
    parameter = models.CharField(max_length=30)
    sent_name = models.CharField(max_length=40)
    unit = models.CharField(max_length=20)
    method = models.ForeignKey(Method, on_delete=models.PROTECT, related_name="measures")
    reagent = models.ForeignKey(
        Item, on_delete=models.PROTECT, null=True, blank=True, related_name="measures"
    )
    ml_per_test = models.FloatField(default=0)
    tests_per_day = models.FloatField(default=0)
    minutes_per_test = models.FloatField(default=0)
    made_up = models.BooleanField(default=False)
    bottle_ml = models.FloatField(default=0)
    calibrate_every_days = models.PositiveIntegerField(default=30)
    low_volts = models.FloatField(null=True, blank=True)
    low_value = models.FloatField(null=True, blank=True)
    high_volts = models.FloatField(null=True, blank=True)
    high_value = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["instrument", "parameter"], name="measure_once"),
            models.UniqueConstraint(fields=["instrument", "sent_name"], name="measure_name_once"),
            models.CheckConstraint(
                condition=Q(ml_per_test__gte=0, tests_per_day__gte=0), name="measure_use_sound"
            ),
            models.CheckConstraint(
                condition=Q(low_volts__isnull=True, low_value__isnull=True, high_volts__isnull=True, high_value__isnull=True)
                | (Q(low_value__isnull=False, high_value__isnull=False) & Q(low_volts__lt=F("high_volts"))),
                name="measure_points_whole",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.parameter


class SentSign(models.Model):
    """Under which name an instrument says something of itself, and what that is."""

    instrument = models.ForeignKey(Instrument, on_delete=models.CASCADE, related_name="sent_signs")
    sent_name = models.CharField(max_length=40)
    kind = models.CharField(max_length=11, choices=SignKind.choices)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["instrument", "sent_name"], name="sign_name_once")]

    def __str__(self) -> str:
        return self.sent_name


class SentDose(models.Model):
    """Under which name an instrument reports the mL that it commanded a channel to give."""

    instrument = models.ForeignKey(Instrument, on_delete=models.CASCADE, related_name="sent_doses")
    sent_name = models.CharField(max_length=40)
    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, related_name="sent_doses")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["instrument", "sent_name"], name="sent_dose_name_once")
        ]

    def __str__(self) -> str:
        return self.sent_name


class Sign(Fact):
    """A device said something of itself: what kind of thing, whether it is so, and its own text."""

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="signs")
    at = models.DateTimeField()
    kind = models.CharField(max_length=11, choices=SignKind.choices)
    on = models.BooleanField()
    text = models.CharField(max_length=100, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="sign_once")]
        indexes = [models.Index(fields=["instrument", "kind", "at"], name="sign_by_kind")]

    def __str__(self) -> str:
        return f"{self.kind} {self.text}"


class Token(models.Model):
    """A device's pass: shown once, stored as SHA-256, writes deliveries of one instrument and nothing else. `in_minute` counts how often it
    was used in the running minute."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(Instrument, on_delete=models.CASCADE, related_name="tokens")
    label = models.CharField(max_length=60, blank=True, default="")
    start = models.CharField(max_length=12)
    sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    minute = models.PositiveBigIntegerField(default=0, editable=False)
    in_minute = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(expires_at__isnull=True) | Q(expires_at__gt=F("made_at")),
                name="token_ends_after_start",
            )
        ]

    def __str__(self) -> str:
        return self.start


class Delivery(models.Model):
    """One body as an instrument sent it. The same body again is the same delivery. `under` names whom a relay's topic was for. What a relay
    sent for another is a delivery of that one's too, without a body: that stands at the relay's, `via`."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="deliveries")
    sha256 = models.CharField(max_length=64)
    media_type = models.CharField(max_length=60)
    body = models.TextField()
    received_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=DeliveryState.choices)
    stored = models.PositiveIntegerField(default=0)
    held = models.PositiveIntegerField(default=0)
    answer = models.JSONField(default=dict)
    under = models.CharField(max_length=100, blank=True, default="")
    via = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="parts")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["instrument", "sha256"], name="delivery_once")]
        indexes = [models.Index(fields=["instrument", "received_at"], name="delivery_by_time")]

    def __str__(self) -> str:
        return f"{self.instrument_id} {self.received_at}"


class ReagentLoad(Fact):
    """A bottle was put in: so many mL of this lot."""

    measure = models.ForeignKey(Measure, on_delete=models.PROTECT, related_name="loads")
    at = models.DateTimeField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, related_name="+")
    ml = models.FloatField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="reagent_load_once"),
            models.CheckConstraint(condition=Q(ml__gt=0), name="reagent_load_above_nought"),
        ]

    def __str__(self) -> str:
        return f"{self.ml} mL"


class TrustMove(Fact):
    """From then on the measure stands at this trust, because."""

    measure = models.ForeignKey(Measure, on_delete=models.PROTECT, related_name="trust_moves")
    at = models.DateTimeField()
    trust = models.CharField(max_length=13, choices=Trust.choices)
    why = models.CharField(max_length=200)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="trust_move_once")]

    def __str__(self) -> str:
        return self.trust


class Pull(models.Model):
    """An address that is asked every so many minutes for an instrument that does not send. `mapping` picks values out of JSON
    (adapters.mapped); `header` is one line "Name: value" that the address wants, a secret. `failed` says what went wrong last."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.OneToOneField(Instrument, on_delete=models.CASCADE, related_name="pull")
    url = models.URLField(max_length=300)
    every_minutes = models.PositiveIntegerField(default=15, validators=[MinValueValidator(1)])
    shape = models.CharField(max_length=5, choices=PullShape.choices, default=PullShape.JSON)
    mapping = models.TextField(blank=True, max_length=4000)
    header = models.CharField(max_length=200, blank=True)
    asked_at = models.DateTimeField(null=True, editable=False)
    failed = models.CharField(max_length=300, blank=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(every_minutes__gte=1), name="pull_every_minute_or_more"),
            models.CheckConstraint(
                condition=~Q(shape="json") | ~Q(mapping=""),
                name="pull_json_has_mapping",
                violation_error_message="A mapping names one value at least: “alk = data.kh dKH”.",
            ),
        ]

    def __str__(self) -> str:
        return self.url


class Commissioning(models.Model):
    """An instrument is being brought into use: begun by whom and when, ended when, with the note for the client. One at a time is open."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="commissionings")
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["instrument"], condition=Q(ended_at__isnull=True), name="commissioning_open_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.instrument} {self.begun_at:%Y-%m-%d}"


class StageDone(Fact):
    """A step of a commissioning was done (again): what came of it, in words and numbers."""

    commissioning = models.ForeignKey(Commissioning, on_delete=models.PROTECT, related_name="done")
    stage = models.CharField(max_length=10, choices=Stage.choices)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    words = models.CharField(max_length=300)
    data = models.JSONField(default=dict)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="stage_done_once")]

    def __str__(self) -> str:
        return self.words
