"""Kinds of journal entries, states of a visit, receipts."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class EntryKind(TextChoices):
    ARRIVE = "arrive", _("arrived")
    READING = "reading", _("reading")
    TASK_DONE = "task_done", _("task done")
    TASK_LEFT = "task_left", _("task left")
    WATER_CHANGE = "water_change", _("water change")
    DOSE = "dose", _("dose")
    RATE = "rate", _("rate set")
    REFILL = "refill", _("refill")
    REAGENT_LOAD = "reagent_load", _("reagent loaded")
    CALIBRATION = "calibration", _("calibration")
    PUMP_CHECK = "pump_check", _("channel calibrated")
    TREATMENT = "treatment", _("treatment")
    LIVESTOCK = "livestock", _("animals")
    PHOTO = "photo", _("photo")
    FINDING = "finding", _("finding")
    RECOMMENDATION = "recommendation", _("recommendation")
    BACK_ON = "back_on", _("everything back on")
    NEXT_VISIT = "next_visit", _("next visit")
    FIELD = "field", _("field")
    CORRECTION = "correction", _("correction")
    CLOSE = "close", _("closed")


class VisitState(TextChoices):
    OPEN = "open", _("open")
    CLOSED = "closed", _("closed")


VISIT_MOVES: dict[str, set[str]] = {VisitState.OPEN: {VisitState.CLOSED}, VisitState.CLOSED: set()}


class Receipt(TextChoices):
    STORED = "stored", _("stored")
    ALREADY = "already", _("already there")
    REFUSED = "refused", _("refused")


# What a later entry may take back. Where the last word counts anyway (fields, the next visit, the check before leaving)
# a new entry says it anew; a reading is corrected.
TAKEN_BACK = frozenset(
    {
        EntryKind.TASK_DONE,
        EntryKind.TASK_LEFT,
        EntryKind.WATER_CHANGE,
        EntryKind.DOSE,
        EntryKind.RATE,
        EntryKind.REFILL,
        EntryKind.REAGENT_LOAD,
        EntryKind.CALIBRATION,
        EntryKind.PUMP_CHECK,
        EntryKind.TREATMENT,
        EntryKind.LIVESTOCK,
        EntryKind.PHOTO,
        EntryKind.FINDING,
        EntryKind.RECOMMENDATION,
    }
)


class BackReason(TextChoices):
    """Why an entry is taken back, as one tap."""

    MISTYPED = "mistyped", _("mistyped")
    ELSEWHERE = "elsewhere", _("it was another tank")
    NOT_DONE = "not_done", _("it was not done")
    TWICE = "twice", _("written down twice")


def back_words(why: str) -> str:
    """The reason of a tap in words; what was typed stays as it is."""
    return str(BackReason(why).label) if why in BackReason.values else why
