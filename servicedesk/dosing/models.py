"""What is added to tanks: solutions, pump channels and their containers, doses, refills, rate changes."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from clients.models import Equipment, Tank
from servicedesk.dosing.choices import DoseKind, TreatmentForm
from servicedesk.stock.models import Item, Lot
from servicedesk.web.facts import Fact


class Solution(models.Model):
    """A liquid that raises one parameter: `per_ml` canonical units times litres per mL (dKH·L per mL for
    alkalinity, mg per mL for calcium). `per_ml_u_rel` is its relative standard uncertainty."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="solution")
    parameter = models.CharField(max_length=30)
    per_ml = models.FloatField()
    per_ml_u_rel = models.FloatField(default=0.02)
    composition = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(per_ml__gt=0), name="solution_strength_above_nought")
        ]

    def __str__(self) -> str:
        return str(self.item)


class Channel(models.Model):
    """One channel of a dosing pump (or a hand-filled doser) with the container it draws from. The rate in force
    is the last RateChange; what is left follows from the last Refill. A `driven` channel gives what an instrument commands and
    reports, and not what a person set."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="channels")
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="channels")
    number = models.PositiveSmallIntegerField(default=1)
    solution = models.ForeignKey(Solution, on_delete=models.PROTECT, related_name="channels")
    container_ml = models.FloatField(default=1000)
    step_ml = models.FloatField(default=0.1)
    max_ml_per_day = models.FloatField(null=True, blank=True)
    driven = models.BooleanField(default=False)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["equipment", "number"], name="channel_number_once"),
            models.CheckConstraint(condition=Q(container_ml__gt=0), name="container_above_nought"),
        ]

    def __str__(self) -> str:
        return f"{self.equipment} {self.number}"


class RateChange(Fact):
    """From then on the channel was set to so many mL a day (until, where a temporary rate ends)."""

    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, related_name="rates")
    at = models.DateTimeField()
    ml_per_day = models.FloatField()
    until = models.DateTimeField(null=True)
    why = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="rate_change_once"),
            models.CheckConstraint(condition=Q(ml_per_day__gte=0), name="rate_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.ml_per_day} mL/d"


class Refill(Fact):
    """The container was filled; it holds `ml_now` afterwards and held `ml_before` where that was seen."""

    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, related_name="refills")
    at = models.DateTimeField()
    ml_before = models.FloatField(null=True)
    ml_now = models.FloatField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="refill_once"),
            models.CheckConstraint(condition=Q(ml_now__gte=0), name="refill_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.ml_now} mL"


class Dose(Fact):
    """So many mL of a solution went into a tank: by hand, or as a pump reports that it was commanded."""

    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="doses")
    solution = models.ForeignKey(Solution, on_delete=models.PROTECT, related_name="doses")
    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, null=True, related_name="doses")
    kind = models.CharField(max_length=9, choices=DoseKind.choices)
    at = models.DateTimeField()
    ml = models.FloatField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="dose_once"),
            models.CheckConstraint(condition=Q(ml__gte=0), name="dose_not_negative"),
        ]
        indexes = [models.Index(fields=["tank", "at"], name="dose_by_time")]

    def __str__(self) -> str:
        return f"{self.ml} mL"


class PumpCheck(Fact):
    """A channel was run and measured: told to give `asked_ml`, it gave `before_ml`; after setting, `after_ml`."""

    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    asked_ml = models.FloatField()
    before_ml = models.FloatField()
    after_ml = models.FloatField(null=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="pump_check_once"),
            models.CheckConstraint(condition=Q(asked_ml__gt=0, before_ml__gte=0), name="pump_check_sound"),
        ]

    def __str__(self) -> str:
        return f"{self.before_ml} of {self.asked_ml} mL"


class Treatment(Fact):
    """A medicine was given by order of a veterinarian: who ordered it, what in which form and lot, how much as it was ordered, and
    until when. Never worked out or advised here; free and complexed copper are different drugs."""

    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="treatments")
    at = models.DateTimeField()
    vet = models.CharField(max_length=100)
    product = models.CharField(max_length=100)
    form = models.CharField(max_length=16, choices=TreatmentForm.choices)
    lot = models.CharField(max_length=60)
    dose = models.CharField(max_length=120)
    until_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="treatment_once"),
            models.CheckConstraint(
                condition=~Q(vet="") & ~Q(product="") & ~Q(lot="") & ~Q(dose=""), name="treatment_told_whole"
            ),
        ]

    def __str__(self) -> str:
        return self.product
