"""What a test costs in reagent, for the owner's eyes."""

from decimal import Decimal

from django.utils.translation import gettext as _

from servicedesk.core.inventory.reorder import NotCounted, cost_per_test
from servicedesk.water.models import Method


def cost_words(method: Method, currency: str) -> str:
    """The price of one test from its reagent's pack, or why it is not known. Time and strips are not in it."""
    reagent = method.reagent
    if reagent is None:
        return _("no reagent")
    if reagent.price_per_pack is None or not method.ml_per_test:
        return _("cost not known: the pack's price or the amount per test is missing")
    try:
        cost = cost_per_test(
            price=Decimal(reagent.price_per_pack), pack_ml=reagent.pack_size, ml_per_test=method.ml_per_test
        )
    except NotCounted:
        return _("cost not known: a pack holds no whole test")
    return _("%(cost)s %(currency)s a test") % {"cost": f"{cost:.2f}", "currency": currency}
