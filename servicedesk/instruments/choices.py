"""Trust, and what can become of a delivery."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class Trust(TextChoices):
    BELIEVED = "believed", _("believed")
    TO_CHECK = "to_check", _("to be checked")
    NOT_TO_ACT_ON = "not_to_act_on", _("not to be acted on")


TRUST_MOVES: dict[str, set[str]] = {
    Trust.BELIEVED: {Trust.TO_CHECK, Trust.NOT_TO_ACT_ON},
    Trust.TO_CHECK: {Trust.BELIEVED, Trust.NOT_TO_ACT_ON},
    Trust.NOT_TO_ACT_ON: {Trust.TO_CHECK},
}


class DeliveryState(TextChoices):
    TAKEN = "taken", _("taken")
    REFUSED = "refused", _("refused")


class Reports(TextChoices):
    """How an instrument reports."""

    HTTPS = "https", _("sends by HTTPS")
    MQTT = "mqtt", _("sends by MQTT")
    PULL = "pull", _("is asked at an address")
    TABLE = "table", _("tables: upload, folder or mail")
    PHOTO = "photo", _("its display is photographed")
    MANUAL = "manual", _("does not report")


READ_BY_EYE = (Reports.PHOTO, Reports.MANUAL)
"""What has no line: its display, read by somebody, is all that is heard of it."""
DISPLAY = "application/json; from=display"
"""The kind of a delivery that a person read off a display. No machine's door takes it."""


class OwnDosing(TextChoices):
    """What an instrument does by itself on what it measures."""

    NONE = "none", _("doses nothing")
    SET_POINTS = "set_points", _("doses between two set-points")
    SOCKET = "socket", _("switches a socket")


class SignKind(TextChoices):
    """What a device says of itself."""

    ERROR = "error", _("reports an error")
    LOW_SAMPLE = "low_sample", _("draws too little sample")
    WASTE_FULL = "waste_full", _("its waste bottle is full")
    LOW_REAGENT = "low_reagent", _("says that its reagent runs out")
    LINE_LOST = "line_lost", _("lost its line")
    ALIVE = "alive", _("is there")
    NOTE = "note", _("notes something")


class PullShape(TextChoices):
    """What an address answers with."""

    JSON = "json", _("JSON, values picked by a mapping")
    TABLE = "table", _("a table")


class Stage(TextChoices):
    """Steps of bringing an instrument into use, in their order."""

    PLACED = "placed", _("Set up and safe")
    WARM = "warm", _("Warm")
    PASS = "pass", _("A pass")
    HEARD = "heard", _("Heard")
    CALIBRATED = "calibrated", _("Calibrated")
    AGREES = "agrees", _("Agrees")
    NOISE = "noise", _("Quiet enough")


class ProcedureKind(TextChoices):
    """How something is calibrated (core.metrology.procedures says what suits)."""

    TWO_BUFFERS = "two_buffers", _("two buffers")
    CELL = "cell", _("a standard for conductivity")
    ONE_POINT = "one_point", _("one known value")
    LINE = "line", _("two points of a line")
    PUMP = "pump", _("by volume")


class ProcedureEnd(TextChoices):
    """How a procedure ended."""

    AGREES = "agrees", _("a re-test agreed")
    DIFFERS = "differs", _("a re-test did not agree")
    LEFT = "left", _("left off")
