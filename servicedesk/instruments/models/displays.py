"""Photos of displays, and what became of each."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from servicedesk.web.facts import Fact


class DisplayPhoto(Fact):
    """What an instrument's display showed, as a photo: written anew without any metadata, kept as evidence. It waits until its outcome is
    written. `sha256` is of the file as it came, so that the same file again is the same photo; `camera_at` is what the camera's
    clock said, where it said anything: a suggestion, believed by nobody unasked."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(
        "instruments.Instrument", on_delete=models.PROTECT, related_name="display_photos"
    )
    file = models.CharField(max_length=120)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    camera_at = models.DateTimeField(null=True)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["instrument", "sha256"], name="display_photo_once"),
            models.UniqueConstraint(fields=["origin", "part"], name="display_photo_origin_once"),
        ]

    def __str__(self) -> str:
        return f"{self.instrument_id} {self.received_at}"


class DisplayRead(Fact):
    """A photo was read into the one delivery it may become, or set aside because."""

    photo = models.OneToOneField(DisplayPhoto, on_delete=models.PROTECT, related_name="outcome")
    delivery = models.OneToOneField(
        "instruments.Delivery", on_delete=models.PROTECT, null=True, related_name="seen"
    )
    why = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="display_read_origin_once"),
            models.CheckConstraint(
                condition=Q(delivery__isnull=False, why="") | (Q(delivery__isnull=True) & ~Q(why="")),
                name="display_read_or_set_aside",
            ),
        ]

    def __str__(self) -> str:
        return self.why or str(self.delivery_id)
