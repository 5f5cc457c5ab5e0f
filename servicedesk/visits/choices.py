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
