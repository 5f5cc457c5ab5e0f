"""Roles of those who sign in, and how a person likes the screen."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class Role(TextChoices):
    OWNER = "owner", _("owner")
    OFFICE = "office", _("office")
    TECHNICIAN = "technician", _("technician")
    CLIENT = "client", _("client contact")
    INSTRUMENT = "instrument", _("instrument")


class Light(TextChoices):
    DEVICE = "", _("as the device has it")
    DAY = "day", _("day")
    CELLAR = "cellar", _("cellar")
    SUN = "sun", _("sun")


class Hand(TextChoices):
    RIGHT = "right", _("right-handed")
    LEFT = "left", _("left-handed")


class StartsAt(TextChoices):
    """Where a technician's day begins or ends."""

    HOME = "home", _("at home")
    STORE = "store", _("at the store")
