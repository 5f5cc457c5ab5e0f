"""What there is of each supply: sums of movements."""

from uuid import UUID

from django.db.models import Sum
from django.utils.translation import gettext as _

from servicedesk.stock.models import Item, Movement, Place


def balance(item: Item, place: Place | None = None) -> float:
    """What is left of an item in its unit, in one place or in all."""
    rows = Movement.objects.filter(item=item)
    if place is not None:
        rows = rows.filter(place=place)
    return rows.aggregate(sum=Sum("amount"))["sum"] or 0.0


def balances() -> dict[UUID, float]:
    """What is left of every item that ever moved, in its unit."""
    rows = Movement.objects.order_by().values("item").annotate(sum=Sum("amount"))
    return {row["item"]: row["sum"] for row in rows}


def amount_words(amount: float, unit: str) -> str:
    """So much of a supply: "2 pcs", "150 g", "1.5 L"."""
    if unit == "pcs":
        return _("%(n)s pcs") % {"n": f"{amount:g}"}
    if abs(amount) >= 1000:
        whole = _("L") if unit == "mL" else _("kg")
        return f"{amount / 1000:.3g} {whole}"
    return f"{amount:.0f} {unit}"
