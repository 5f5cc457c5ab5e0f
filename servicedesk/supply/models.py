"""What must be ordered. For now what is needed is worked out from stock, dosing and instruments each time;
a reminder keeps what was already said, so that nobody is told twice about one bottle on one day."""

import uuid

from django.db import models

from servicedesk.stock.models import Item


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
