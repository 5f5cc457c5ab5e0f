"""What there is of each supply: sums of movements; and who may book where."""

from collections import defaultdict
from dataclasses import dataclass
from uuid import UUID

from django.db.models import QuerySet, Sum
from django.http import Http404
from django.utils.translation import gettext as _

from servicedesk.staff.models import User
from servicedesk.stock.models import Item, Lot, Movement, Place


def balance(item: Item, place: Place | None = None, lot: Lot | None = None) -> float:
    """What is left of an item in its unit, in one place or in all, of one lot or of all."""
    rows = Movement.objects.filter(item=item)
    if place is not None:
        rows = rows.filter(place=place)
    if lot is not None:
        rows = rows.filter(lot=lot)
    return rows.aggregate(sum=Sum("amount"))["sum"] or 0.0


def amount_words(amount: float, unit: str) -> str:
    """So much of a supply: "2 pcs", "150 g", "1.5 L"."""
    if unit == "pcs":
        return _("%(n)s pcs") % {"n": f"{amount:g}"}
    if abs(amount) >= 1000:
        whole = _("L") if unit == "mL" else _("kg")
        return f"{amount / 1000:.3g} {whole}"
    return f"{amount:.0f} {unit}"


def balances(place: Place | None = None) -> dict[UUID, float]:
    """What is left of every item that ever moved, in its unit, in one place or in all."""
    rows = Movement.objects.order_by()
    if place is not None:
        rows = rows.filter(place=place)
    return {row["item"]: row["sum"] for row in rows.values("item").annotate(sum=Sum("amount"))}


@dataclass(frozen=True)
class Left:
    """What is left of one lot (or without a lot), and where."""

    lot: Lot | None
    amount: float
    where: list[tuple[Place, float]]


def lots_of(item: Item) -> list[Left]:
    """Every lot of an item, the one that expires first at the top, with what is left and where; what was booked
    without a lot comes last."""
    places = {p.pk: p for p in Place.objects.all()}
    found: dict[UUID | None, list[tuple[Place, float]]] = defaultdict(list)
    sums = Movement.objects.filter(item=item).order_by().values("lot", "place").annotate(sum=Sum("amount"))
    for row in sums:
        if abs(row["sum"]) > 1e-9:
            found[row["lot"]].append((places[row["place"]], row["sum"]))
    dated = item.lots.filter(expires_on__isnull=False).order_by("expires_on", "code", "pk")
    undated = item.lots.filter(expires_on__isnull=True).order_by("code", "pk")
    lots: list[Lot | None] = [*dated, *undated]
    if None in found:
        lots.append(None)
    rows = []
    for lot in lots:
        where = sorted(found[lot.pk if lot else None], key=lambda pair: pair[0].name)
        rows.append(Left(lot, sum(amount for _place, amount in where), where))
    return rows


def first_to_expire(item: Item, place: Place) -> Lot | None:
    """Of the lots of an item of which that place holds anything, the one that expires first; None where it holds none."""
    held = [
        left.lot for left in lots_of(item) if left.lot and any(p == place and n > 0 for p, n in left.where)
    ]
    return held[0] if held else None


@dataclass(frozen=True)
class Short:
    """A place where the book says that less than nothing is left of an item."""

    item: Item
    place: Place
    amount: float


def short() -> list[Short]:
    """Where the book cannot be right: more was used than was there. Somebody has to count."""
    sums = (
        Movement.objects.order_by().values("item", "place").annotate(sum=Sum("amount")).filter(sum__lt=-1e-6)
    )
    rows = {(row["item"], row["place"]): row["sum"] for row in sums}
    if not rows:
        return []
    items = Item.objects.in_bulk({item for item, _place in rows})
    places = Place.objects.in_bulk({place for _item, place in rows})
    found = [Short(items[item], places[place], amount) for (item, place), amount in rows.items()]
    return sorted(found, key=lambda row: (row.place.name, row.item.name))


def movements_of(item: Item, most: int = 20) -> QuerySet[Movement]:
    """The latest movements of an item, newest first."""
    rows = Movement.objects.filter(item=item).select_related("lot", "place", "by")
    return rows.order_by("-at", "-pk")[:most]


def places_for(user: User) -> QuerySet[Place]:
    """Places where a person may count: owner and office all, a technician the van that is theirs, others none."""
    rows = Place.objects.select_related("keeper").order_by("kind", "name", "pk")
    if user.is_office:
        return rows
    return rows.filter(keeper=user) if user.is_technician else rows.none()


def get_item_for(user: User, key: UUID) -> Item:
    """An item that the person may count somewhere; else Http404."""
    found = Item.objects.filter(pk=key).first()
    if found is None or not (user.is_office or places_for(user).exists()):
        raise Http404
    return found
