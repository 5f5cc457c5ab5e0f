"""States of visits owed and of stops, with their legal moves."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class VisitCause(TextChoices):
    PLAN = "plan", _("service plan")
    TASK = "task", _("task")
    CALL_OUT = "call_out", _("call-out")


class StopState(TextChoices):
    PLANNED = "planned", _("planned")
    UNDER_WAY = "under_way", _("under way")
    CLOSED = "closed", _("closed")
    CALLED_OFF = "called_off", _("called off")


class ProposalState(TextChoices):
    """How far a proposed week has come. Only one that is ready can be put in force."""

    ASKED = "asked", _("asked for")
    READY = "ready", _("ready")
    FAILED = "failed", _("could not be made")
    STOPPED = "stopped", _("stopped")
    IN_FORCE = "in_force", _("put in force")
    DROPPED = "dropped", _("dropped")


STOP_MOVES: dict[str, set[str]] = {
    StopState.PLANNED: {StopState.UNDER_WAY, StopState.CALLED_OFF},
    StopState.UNDER_WAY: {StopState.CLOSED},
    StopState.CLOSED: set(),
    StopState.CALLED_OFF: {StopState.PLANNED, StopState.UNDER_WAY},
}
