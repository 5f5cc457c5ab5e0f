"""Supplies: items, lots, places and movements. A balance is the sum of its movements and may go below nought:
the fact is recorded, the difference is booked by counting."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from servicedesk.stock.choices import ItemKind, MoveReason, PlaceKind
from servicedesk.web.facts import Fact


class Item(models.Model):
    """Something we keep. Amounts in `unit` (mL, g or pieces); price per pack in the business's currency. So many packs fill one box of a van
    (nothing: it goes beside the boxes)."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=100)
    kind = models.CharField(max_length=8, choices=ItemKind.choices)
    unit = models.CharField(max_length=3, choices=[("mL", "mL"), ("g", "g"), ("pcs", "pieces")], default="mL")
    pack_size = models.FloatField(default=1)
    packs_per_box = models.PositiveSmallIntegerField(null=True, blank=True)
    price_per_pack = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    lead_days = models.PositiveIntegerField(default=5)
    supplier = models.CharField(max_length=80, blank=True)
    shelf = models.CharField(max_length=20, blank=True)
    hazards = models.JSONField(default=list, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("name"), name="item_name_once"),
            models.CheckConstraint(condition=Q(pack_size__gt=0), name="item_pack_above_nought"),
            models.CheckConstraint(
                condition=Q(packs_per_box__isnull=True) | Q(packs_per_box__gt=0), name="item_box_above_nought"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Lot(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lots")
    code = models.CharField(max_length=40)
    expires_on = models.DateField(null=True, blank=True)
    opened_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["item", "code"], name="lot_code_once_per_item")]

    def __str__(self) -> str:
        return self.code


class Place(models.Model):
    """A store or a van. A van may have a keeper: the technician who counts it. What a van takes: mixed water in litres, weight in kilograms, boxes;
    where a store stands, in degrees."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=60, unique=True)
    kind = models.CharField(max_length=6, choices=PlaceKind.choices)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="keeps"
    )
    water_l = models.PositiveIntegerField(null=True, blank=True)
    most_kg = models.PositiveIntegerField(null=True, blank=True)
    boxes = models.PositiveIntegerField(null=True, blank=True)
    lat = models.FloatField(null=True, blank=True)
    lon = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(lat__isnull=True, lon__isnull=True)
                | Q(lat__isnull=False, lon__isnull=False, lat__range=(-90, 90), lon__range=(-180, 180)),
                name="place_stands_somewhere",
            )
        ]

    def __str__(self) -> str:
        return self.name


class Movement(Fact):
    """So much of an item came to (+) or left (-) a place. A count that agrees is a movement of nought."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="movements")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="movements")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements")
    amount = models.FloatField()
    reason = models.CharField(max_length=8, choices=MoveReason.choices)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    price_per_pack = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="movement_once")]

    def __str__(self) -> str:
        return f"{self.amount} {self.item_id}"
