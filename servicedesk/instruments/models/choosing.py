"""Ways of testing that a client may choose from."""

import uuid

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from servicedesk.core.inventory.reorder import NotCounted
from servicedesk.core.units import TypedWrong
from servicedesk.core.worksheets.choosing import read_measures


def can_be_read(text: str) -> None:
    """Refuses, in words, what a candidate is said to measure where it cannot be read."""
    try:
        read_measures(text)
    except (NotCounted, TypedWrong) as wrong:
        raise ValidationError(str(wrong)) from wrong


class Candidate(models.Model):
    """A way of testing that comes into question for a tank, as the owner wrote it down before anything is bought. `measures`
    names a parameter a line with how good the result is (core.worksheets.choosing.read_measures)."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=60, unique=True)
    measures = models.TextField(validators=[can_be_read])
    unattended = models.BooleanField(default=False)
    most_per_day = models.FloatField(default=24)
    setup_minutes = models.FloatField(default=0)
    upkeep_minutes = models.FloatField(default=0)
    test_minutes = models.FloatField(default=0)
    price = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    month_cost = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    test_cost = models.DecimalField(max_digits=9, decimal_places=4, default=0)
    noise_db = models.FloatField(null=True, blank=True)
    needs_mains = models.BooleanField(default=False)
    needs_network = models.BooleanField(default=False)
    needs_drain = models.BooleanField(default=False)
    needs_shelf = models.BooleanField(default=False)
    cannot_tell = models.CharField(max_length=200, blank=True)
    fails_by = models.CharField(max_length=200, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(setup_minutes__gte=0, upkeep_minutes__gte=0, test_minutes__gte=0, most_per_day__gt=0),
                name="candidate_minutes_sound",
            ),
            models.CheckConstraint(condition=Q(price__gte=0, month_cost__gte=0, test_cost__gte=0), name="candidate_costs_sound"),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.name
