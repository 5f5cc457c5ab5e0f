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
