"""Kinds of supplies and reasons why they move."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class ItemKind(TextChoices):
    REAGENT = "reagent", _("reagent")
    STANDARD = "standard", _("check standard")
    SOLUTION = "solution", _("dosing solution")
    SALT = "salt", _("salt")
    MEDIA = "media", _("filter media")
    PART = "part", _("part")
    OTHER = "other", _("other")


class PlaceKind(TextChoices):
    STORE = "store", _("store")
    VAN = "van", _("van")


class MoveReason(TextChoices):
    RECEIVED = "received", _("received")
    USED = "used", _("used")
    MOVED = "moved", _("moved")
    COUNTED = "counted", _("difference found by counting")
