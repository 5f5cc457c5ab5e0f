"""States of a piece of work and of a message, and the moves that are legal."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from servicedesk.web import posting


class JobState(TextChoices):
    QUEUED = "queued", _("waiting")
    RUNNING = "running", _("under way")
    DONE = "done", _("done")
    FAILED = "failed", _("failed")
    HELD = "held", _("held")


JOB_MOVES: dict[str, set[str]] = {
    JobState.QUEUED: {JobState.RUNNING, JobState.HELD, JobState.FAILED},
    JobState.RUNNING: {JobState.QUEUED, JobState.RUNNING, JobState.DONE, JobState.FAILED},
    JobState.DONE: set(),
    JobState.FAILED: {JobState.QUEUED},
    JobState.HELD: {JobState.QUEUED},
}


class MessageState(TextChoices):
    HELD = "held", _("held for the owner's word")
    QUEUED = "queued", _("waiting")
    SENDING = "sending", _("being sent")
    SENT = "sent", _("sent")
    UNSURE = "unsure", _("may have been sent twice")
    FAILED = "failed", _("failed")


MESSAGE_MOVES: dict[str, set[str]] = {
    MessageState.HELD: {MessageState.QUEUED},
    MessageState.QUEUED: {MessageState.SENDING, MessageState.HELD},
    MessageState.SENDING: {MessageState.SENT, MessageState.UNSURE, MessageState.QUEUED, MessageState.FAILED},
    MessageState.UNSURE: {MessageState.SENDING, MessageState.SENT},
    MessageState.SENT: set(),
    MessageState.FAILED: {MessageState.QUEUED},
}


class Channel(TextChoices):
    MAIL = "mail", _("mail")
    GATEWAY = "gateway", _("gateway")
    PUSH = "push", _("browser")


class Body(TextChoices):
    """How a gateway wants its words."""

    JSON = posting.JSON, _("JSON")
    FORM = posting.FORM, _("a web form")
    TEXT = posting.TEXT, _("plain text")
