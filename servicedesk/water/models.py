"""What is known about the water: bands, methods, readings and their corrections, water changes."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from clients.models import Equipment, Tank
from servicedesk.stock.models import Item
from servicedesk.water.choices import HeldDecision, MethodKind, SourceKind, WaterKind
from servicedesk.web.facts import Fact

HELD = {
    "salinity": "salinity",
    "alkalinity": "alkalinity_dkh",
    "carbonate_hardness": "alkalinity_dkh",
    "general_hardness": "general_hardness_dgh",
    "calcium": "calcium_mg_l",
    "magnesium": "magnesium_mg_l",
    "nitrate": "nitrate_mg_l",
}
"""What is known of a water for changes: by parameter, the column that holds it."""


class Band(models.Model):
    """The range a parameter should stay in for a tank, its alarm limits and its safe daily change; all in the
    parameter's canonical unit. `unit` is the one shown for this tank. An instrument's value that was beyond a mark is back once it is inside
    by `deadband` (None: two steps of its display), and beyond it once it has been so for `wait_minutes`."""

    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="bands")
    parameter = models.CharField(max_length=30)
    unit = models.CharField(max_length=20)
    low = models.FloatField(null=True, blank=True)
    target = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    alarm_low = models.FloatField(null=True, blank=True)
    alarm_high = models.FloatField(null=True, blank=True)
    max_rise_per_day = models.FloatField(null=True, blank=True)
    max_fall_per_day = models.FloatField(null=True, blank=True)
    deadband = models.FloatField(null=True, blank=True)
    wait_minutes = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(deadband__isnull=True) | Q(deadband__gte=0), name="band_deadband_sound"
            ),
            models.CheckConstraint(condition=Q(wait_minutes__lte=1440), name="band_waits_a_day_at_most"),
            models.UniqueConstraint(fields=["tank", "parameter"], name="band_once"),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lt=F("high")),
                name="band_low_under_high",
            ),
            models.CheckConstraint(
                condition=Q(alarm_low__isnull=True) | Q(low__isnull=True) | Q(alarm_low__lte=F("low")),
                name="band_limit_under_low",
            ),
            models.CheckConstraint(
                condition=Q(alarm_high__isnull=True) | Q(high__isnull=True) | Q(alarm_high__gte=F("high")),
                name="band_limit_over_high",
            ),
        ]

    def __str__(self) -> str:
        return self.parameter


class Method(models.Model):
    """A way of testing one parameter, with its stated tolerance: absolute in the canonical unit, relative as a
    fraction (0.05 is 5 %). `unit` is what its scale shows, where that is not the tank's unit; `reference_c` the
    temperature that scale refers to, and `compensates` that it shows the value as at that temperature whatever the
    water's. `ml_per_test` is drawn from `reagent`, where it has one."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    parameter = models.CharField(max_length=30)
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=10, choices=MethodKind.choices)
    tolerance_abs = models.FloatField(default=0)
    tolerance_rel = models.FloatField(default=0)
    resolution = models.FloatField(default=0)
    unit = models.CharField(max_length=20, blank=True)
    reference_c = models.FloatField(null=True, blank=True)
    compensates = models.BooleanField(default=False)
    minutes = models.FloatField(default=2)
    reagent = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="methods")
    ml_per_test = models.FloatField(default=0)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["parameter", "name"], name="method_name_once_per_parameter"),
            models.CheckConstraint(
                condition=Q(tolerance_abs__gte=0, tolerance_rel__gte=0, resolution__gte=0),
                name="method_tolerance_sound",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TankTest(models.Model):
    """On a visit this tank is tested for this parameter, by this method first, in this order."""

    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="tests")
    parameter = models.CharField(max_length=30)
    method = models.ForeignKey(Method, on_delete=models.PROTECT, related_name="+")
    order = models.PositiveIntegerField(default=1)
    every_days = models.PositiveIntegerField(default=14)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["tank", "parameter"], name="tank_test_once")]

    def __str__(self) -> str:
        return self.parameter


class Source(models.Model):
    """Where readings come from: by hand (one row), or one piece of equipment."""

    kind = models.CharField(max_length=9, choices=SourceKind.choices)
    equipment = models.OneToOneField(
        Equipment, on_delete=models.PROTECT, null=True, blank=True, related_name="source"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="hand", equipment__isnull=True)
                | Q(kind="equipment", equipment__isnull=False),
                name="source_has_equipment_or_is_hand",
            ),
            models.UniqueConstraint(fields=["kind"], condition=Q(kind="hand"), name="source_by_hand_once"),
        ]

    def __str__(self) -> str:
        return self.kind


class Series(models.Model):
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="series")
    parameter = models.CharField(max_length=30)
    source = models.ForeignKey(Source, on_delete=models.PROTECT, related_name="series")
    method = models.ForeignKey(Method, on_delete=models.PROTECT, related_name="series")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["tank", "parameter", "source", "method"], name="series_once")
        ]

    def __str__(self) -> str:
        return self.parameter


class Reading(Fact):
    """A measured value in the parameter's canonical unit; what was typed, with its unit, is kept beside it.
    `seq` is the replicate (0 first). `flags` are bits of choices.Flag."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="readings")
    at = models.DateTimeField()
    seq = models.PositiveSmallIntegerField(default=0)
    value = models.FloatField()
    entered = models.CharField(max_length=20)
    entered_unit = models.CharField(max_length=20)
    flags = models.PositiveSmallIntegerField(default=0)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["series", "at", "seq"], name="reading_once"),
            models.UniqueConstraint(fields=["origin", "part"], name="reading_part_once"),
            models.CheckConstraint(condition=Q(value__gte=-1e6, value__lte=1e6), name="reading_value_finite"),
        ]

    def __str__(self) -> str:
        return f"{self.value} {self.at}"


class Correction(Fact):
    """A reading was wrong: old and new value, who says so, when and why. Queries read the last one."""

    reading = models.ForeignKey(Reading, on_delete=models.PROTECT, related_name="corrections")
    number = models.PositiveSmallIntegerField()
    old = models.FloatField()
    new = models.FloatField(null=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    why = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["reading", "number"], name="correction_number_once"),
            models.UniqueConstraint(fields=["origin", "part"], name="correction_once"),
        ]

    def __str__(self) -> str:
        return f"{self.old} → {self.new}"


class HeldReading(models.Model):
    """Kept apart with its reason, visible, never averaged: what could not be, or contradicts what is stored."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="held_readings")
    equipment = models.ForeignKey(
        Equipment, on_delete=models.PROTECT, null=True, related_name="held_readings"
    )
    parameter = models.CharField(max_length=30)
    at = models.DateTimeField(null=True)
    entered = models.CharField(max_length=40)
    entered_unit = models.CharField(max_length=20)
    reason = models.CharField(max_length=200)
    origin = models.UUIDField()
    part = models.PositiveIntegerField(default=0)
    received_at = models.DateTimeField()
    decided_at = models.DateTimeField(null=True, blank=True)
    decision = models.CharField(max_length=9, choices=HeldDecision.choices, blank=True, default="")
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_why = models.CharField(max_length=200, blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="held_reading_once"),
            models.CheckConstraint(
                condition=Q(decision="", decided_at__isnull=True)
                | (~Q(decision="") & Q(decided_at__isnull=False)),
                name="held_reading_decided_whole",
            ),
        ]
        indexes = [
            models.Index(
                fields=["received_at"], condition=Q(decided_at__isnull=True), name="held_reading_waiting"
            )
        ]

    def __str__(self) -> str:
        return self.reason

    @staticmethod
    def key_of(origin: uuid.UUID, part: int) -> uuid.UUID:
        """The id of what an origin's part was held apart as."""
        return uuid.uuid5(origin, str(part))


class WaterChange(Fact):
    """So many litres were replaced by fresh water of this salinity (PSS-78) and temperature (C), where known."""

    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="water_changes")
    at = models.DateTimeField()
    litres = models.FloatField()
    salinity = models.FloatField(null=True)
    temperature_c = models.FloatField(null=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="water_change_once"),
            models.CheckConstraint(condition=Q(litres__gt=0), name="water_change_above_nought"),
        ]

    def __str__(self) -> str:
        return f"{self.litres} L"


class DayRoll(models.Model):
    """Readings of one series on one UTC day, rolled up."""

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="days")
    day = models.DateField()
    count = models.PositiveIntegerField()
    total = models.FloatField()
    least = models.FloatField()
    most = models.FloatField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "day"], name="day_roll_once")]

    def __str__(self) -> str:
        return f"{self.day}"


class Touched(models.Model):
    """This tank has news since then: upserted with every intake, claimed by the sweep."""

    tank = models.OneToOneField(Tank, on_delete=models.CASCADE, primary_key=True, related_name="touched")
    since = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.since}"


class ChangeWater(models.Model):
    """The water that goes in at a change: a salt mix, tap water, a blend; what it holds as far as it was tested, each in
    the parameter's canonical unit. `usual` is taken for every tank of its kind that names no other."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=100)
    kind = models.CharField(max_length=5, choices=WaterKind.choices)
    usual = models.BooleanField(default=True)
    tested_on = models.DateField(null=True, blank=True)
    salinity = models.FloatField(null=True, blank=True)
    alkalinity_dkh = models.FloatField(null=True, blank=True)
    general_hardness_dgh = models.FloatField(null=True, blank=True)
    calcium_mg_l = models.FloatField(null=True, blank=True)
    magnesium_mg_l = models.FloatField(null=True, blank=True)
    nitrate_mg_l = models.FloatField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("name"), name="change_water_name_once"),
            models.UniqueConstraint(
                fields=["kind"],
                condition=Q(usual=True, retired_on__isnull=True),
                name="change_water_usual_once",
            ),
            *(
                models.CheckConstraint(condition=Q(**{f"{name}__gte": 0}), name=f"change_water_{name}_sound")
                for name in dict.fromkeys(HELD.values())
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TankChangeWater(models.Model):
    """A tank that gets another water than is usual for its kind."""

    tank = models.OneToOneField(Tank, on_delete=models.CASCADE, related_name="change_water")
    water = models.ForeignKey(ChangeWater, on_delete=models.PROTECT, related_name="tanks")

    def __str__(self) -> str:
        return str(self.water)
