"""How long ways take: the business's own bands of distance, and what a road router said of ordered pairs of places."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

FACTOR = (MinValueValidator(1), MaxValueValidator(5))
SPEED = (MinValueValidator(5), MaxValueValidator(150))


class Roads(models.Model):
    """How straight lines become minutes where nobody knows better. Up to `near_km` of straight line a road is `near_factor` times as long and driven
    at `near_kmh`, up to `middle_km` and beyond by the other two pairs; each way takes `leg_minutes` more. The starting values
    are common practice."""

    only = models.BooleanField(primary_key=True, default=True, editable=False)
    near_km = models.FloatField(default=3, validators=[MinValueValidator(0.1), MaxValueValidator(1000)])
    near_factor = models.FloatField(default=1.5, validators=FACTOR)
    near_kmh = models.FloatField(default=25, validators=SPEED)
    middle_km = models.FloatField(default=15, validators=[MinValueValidator(0.2), MaxValueValidator(1000)])
    middle_factor = models.FloatField(default=1.35, validators=FACTOR)
    middle_kmh = models.FloatField(default=38, validators=SPEED)
    far_factor = models.FloatField(default=1.25, validators=FACTOR)
    far_kmh = models.FloatField(default=55, validators=SPEED)
    leg_minutes = models.FloatField(default=2, validators=[MinValueValidator(0), MaxValueValidator(60)])

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(only=True), name="one_row_of_roads"),
            models.CheckConstraint(
                condition=Q(near_km__gt=0, near_km__lt=F("middle_km")), name="roads_bands_rise"
            ),
            models.CheckConstraint(
                condition=Q(near_factor__gte=1, middle_factor__gte=1, far_factor__gte=1),
                name="roads_no_shorter_than_straight",
            ),
            models.CheckConstraint(
                condition=Q(near_kmh__gt=0, middle_kmh__gt=0, far_kmh__gt=0, leg_minutes__gte=0),
                name="roads_are_driven",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.near_km:g} km, {self.middle_km:g} km"


class Router(models.Model):
    """A road router that was asked, under the name of its kind, profile, address and data. `taught` is a number drawn anew whenever it taught something: what is
    kept in memory of it goes by that. `failed_at` and `error` are its last failure, until it answers again."""

    name = models.CharField(max_length=400, unique=True)
    taught = models.PositiveIntegerField(default=0)
    answered_at = models.DateTimeField(null=True, blank=True)
    failed_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return self.name


class Way(models.Model):
    """What a router said of one ordered pair of places (`core.rounds.router.key_of` their coordinates, five decimals): whole seconds and metres, or
    neither where it knows no way. From a place to itself, with neither: no road near it. Never mirrored."""

    router = models.ForeignKey(Router, on_delete=models.CASCADE, related_name="ways")
    start = models.BigIntegerField()
    end = models.BigIntegerField()
    seconds = models.PositiveIntegerField(null=True, blank=True)
    metres = models.PositiveIntegerField(null=True, blank=True)
    asked_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["router", "start", "end"], name="way_once"),
            models.CheckConstraint(
                condition=Q(seconds__isnull=True, metres__isnull=True)
                | Q(seconds__isnull=False, metres__isnull=False),
                name="way_of_one_source",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.start} {self.end}"
