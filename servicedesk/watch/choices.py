"""Kinds of things that want attention, soonest harm first."""

from django.db.models import IntegerChoices, TextChoices
from django.utils.translation import gettext_lazy as _


class AttentionKind(TextChoices):
    BEYOND_LIMIT = "beyond_limit", _("beyond the limit")
    OUT_OF_BAND = "out_of_band", _("out of band")
    SILENT = "silent", _("silent")
    DISAGREES = "disagrees", _("instrument disagrees")
    STUCK = "stuck", _("instrument stuck")
    USELESS = "useless", _("alive but useless")
    SIGN = "sign", _("instrument reports a fault")
    DRIFTS = "drifts", _("instrument drifts")
    JUMP = "jump", _("a single value stands away")
    SPEED = "speed", _("changes too fast")
    FORESEEN = "foreseen", _("will go wrong as it is set")
    RUNNING_OUT = "running_out", _("running out")
    DEATH = "death", _("a death")
    REPORT = "report", _("report")
    PLAN = "plan", _("plan")
    LEFT_OFF = "left_off", _("left off")


class Severity(IntegerChoices):
    """Lower is sooner."""

    NOW = 1, _("now")
    SOON = 2, _("soon")
    WATCH = 3, _("watch")


class Told(IntegerChoices):
    """Of how much a person is told by a gateway or in a browser: up to which severity."""

    NOW = 1, _("only what cannot wait")
    ALL = 2, _("every alarm")


class Step(TextChoices):
    """What happened to an alarm."""

    TOLD = "told", _("told")
    SEEN = "seen", _("seen")
    ACTED = "acted", _("acted on")
    HANDED = "handed", _("handed on")
    SHELVED = "shelved", _("set aside")
    TAKEN_UP = "taken_up", _("taken up again")
    CLEARED = "cleared", _("cleared")
