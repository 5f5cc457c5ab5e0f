"""What must be ordered: when containers and bottles run empty, worked out anew every few minutes for pages that are read
often; and reminders, which keep what was already said, so that nobody is told twice about one bottle on one day."""

import uuid

from django.db import models

from clients.models import Tank
from servicedesk.stock.models import Item


class RunOut(models.Model):
    """A container (its channel's key) or a reagent bottle (its measure's key) and the day on which it runs empty, as
    was known at `worked_at`; `fill` mL fill it again. Not a fact: worked out from facts, and written over."""

    id = models.UUIDField(primary_key=True, editable=False)
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="+")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    what = models.CharField(max_length=200)
    empty_on = models.DateField()
    fill = models.FloatField()
    worked_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.what} {self.empty_on}"


class Reminder(models.Model):
    """On this day we reminded to order this item, because `why`."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="reminders")
    day = models.DateField()
    empty_on = models.DateField()
    order_by = models.DateField()
    why = models.CharField(max_length=300)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["item", "day"], name="reminder_once_a_day")]

    def __str__(self) -> str:
        return self.why
