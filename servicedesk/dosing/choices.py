"""Words for dosing."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class DoseKind(TextChoices):
    BY_HAND = "by_hand", _("by hand")
    COMMANDED = "commanded", _("reported by the pump")
