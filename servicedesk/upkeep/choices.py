"""States of a task on a tank, and the moves that are legal."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class TaskState(TextChoices):
    OPEN = "open", _("open")
    DONE = "done", _("done")
    CALLED_OFF = "called_off", _("called off")


TASK_MOVES: dict[str, set[str]] = {
    TaskState.OPEN: {TaskState.DONE, TaskState.CALLED_OFF},
    TaskState.DONE: set(),
    TaskState.CALLED_OFF: {TaskState.OPEN},
}


class Outcome(TextChoices):
    DONE = "done", _("done")
    LEFT = "left", _("left")


class LeftReason(TextChoices):
    LOCKED = "locked", _("could not get in")
    NO_TIME = "no_time", _("no time left")
    NO_PART = "no_part", _("a part was missing")
    CLIENT_ASKED = "client_asked", _("the client asked to wait")
    NOT_NEEDED = "not_needed", _("not needed today")
    UNSAFE = "unsafe", _("not safe to do")


def reason_words(reason: str) -> str:
    """A reason as it is read: the words of a known one, else what was typed."""
    return str(LeftReason(reason).label) if reason in LeftReason.values else reason


class Every(TextChoices):
    DAYS = "days", _("days")
    WEEKS = "weeks", _("weeks")
    MONTHS = "months", _("months")
