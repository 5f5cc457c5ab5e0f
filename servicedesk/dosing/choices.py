"""Words for dosing."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class TreatmentForm(TextChoices):
    COPPER_FREE = "copper_free", _("free copper")
    COPPER_COMPLEXED = "copper_complexed", _("complexed copper")
    FORMALIN = "formalin", _("formalin")
    OTHER = "other", _("something else")


class DoseKind(TextChoices):
    BY_HAND = "by_hand", _("by hand")
    COMMANDED = "commanded", _("reported by the pump")
