"""States of a client's report and of a house paper, and the client's verdicts."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class ReportState(TextChoices):
    WAITING = "waiting", _("being made")
    HELD = "held", _("waits for your word")
    READY = "ready", _("ready")
    FAILED = "failed", _("failed")
    REPLACED = "replaced", _("overtaken by a later version")


REPORT_MOVES: dict[str, set[str]] = {
    ReportState.WAITING: {ReportState.HELD, ReportState.READY, ReportState.FAILED, ReportState.REPLACED},
    ReportState.HELD: {ReportState.READY, ReportState.REPLACED},
    ReportState.READY: set(),
    ReportState.FAILED: {ReportState.WAITING, ReportState.REPLACED},
    ReportState.REPLACED: set(),
}


class Verdict(TextChoices):
    WELL = "well", _("All is well")
    WATCHING = "watching", _("We are watching")
    ACTING = "acting", _("We are acting")


class HoldReason(TextChoices):
    DEATH = "death", _("It tells of a death.")
    ALARM = "alarm", _("It tells of an alarm.")
    OFF = "off", _("Equipment stays off.")
    DISPUTE = "dispute", _("Something is disputed.")
    FIRST = "first", _("It is the first visit.")


class PaperKind(TextChoices):
    OVERDUE = "overdue", _("overdue maintenance")
