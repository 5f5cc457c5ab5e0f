"""Words for how water is measured."""

from django.db.models import IntegerChoices, TextChoices
from django.utils.translation import gettext_lazy as _


class MethodKind(TextChoices):
    PHOTOMETER = "photometer", _("photometer")
    KIT = "kit", _("titration kit")
    PROBE = "probe", _("probe")
    TITRATOR = "titrator", _("automatic titrator")
    STRIP = "strip", _("test strip")
    LABORATORY = "laboratory", _("laboratory")


class WaterKind(TextChoices):
    SALT = "salt", _("mixed salt water")
    FRESH = "fresh", _("fresh water")


class SourceKind(TextChoices):
    HAND = "hand", _("by hand")
    EQUIPMENT = "equipment", _("instrument")


class Flag(IntegerChoices):
    """Bits of Reading.flags."""

    TIME_DOUBTFUL = 1, _("time doubtful")
    IMPLAUSIBLE = 2, _("outside what is plausible")
    SURPRISE = 4, _("far from history")
    CLOCK_FIXED = 8, _("clock corrected")


class HeldDecision(TextChoices):
    """What a person decided of a value held apart."""

    RELEASED = "released", _("taken in")
    DISCARDED = "discarded", _("left out")
