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


class OfferKind(TextChoices):
    """What a proposal is: a week, or one of the ways out of a day that broke."""

    WEEK = "week", _("a week")
    SMALLEST = "smallest", _("The smallest change")
    PRICED = "priced", _("Better, with few changes")
    FREE = "free", _("The best there is")


class ChangeState(TextChoices):
    """What became of one client's part of a master round. Only what is open or taken back can be adopted."""

    OPEN = "open", _("open")
    ADOPTED = "adopted", _("adopted")
    KEPT = "kept", _("kept as it is")
    BACK = "back", _("taken back")


class TroubleKind(TextChoices):
    """What breaks a day."""

    CANCELLED = "cancelled", _("a visit is cancelled")
    SICK = "sick", _("a technician is sick")
    CALL_OUT = "call_out", _("a call-out")
    LATE = "late", _("a technician runs late")


class TroubleState(TextChoices):
    OPEN = "open", _("open")
    SETTLED = "settled", _("settled")
    DROPPED = "dropped", _("dropped")


STOP_MOVES: dict[str, set[str]] = {
    StopState.PLANNED: {StopState.UNDER_WAY, StopState.CALLED_OFF},
    StopState.UNDER_WAY: {StopState.CLOSED},
    StopState.CLOSED: set(),
    StopState.CALLED_OFF: {StopState.PLANNED, StopState.UNDER_WAY},
}
