"""Movements of supplies. A balance may go below nought: the fact is recorded, the difference booked by counting."""

from datetime import date, datetime
from decimal import Decimal
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from servicedesk.staff.models import User
from servicedesk.stock.choices import MoveReason, PlaceKind
from servicedesk.stock.models import Item, Lot, Movement, Place
from servicedesk.stock.queries import balance, first_to_expire


class NothingMoved(Exception):
    """A movement that says nothing, or contradicts itself; the sentence says why."""


class OtherDate(NothingMoved):
    """The lot is known with another date of expiry."""


@transaction.atomic
def record_movement(
    *,
    item: Item,
    place: Place,
    amount: float,
    reason: str,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    lot: Lot | None = None,
    note: str = "",
    price_per_pack: Decimal | None = None,
) -> Movement:
    """So much came (+) or left (-), in the item's unit. The same (origin, part) again is the same movement. What
    happened before a count but is told after it was counted already: it is balanced at that count."""
    if amount == 0 and reason != MoveReason.COUNTED:
        raise NothingMoved(_("Say how much moved: more or less than nought."))
    Item.objects.select_for_update().get(pk=item.pk)
    row, made = Movement.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "item": item,
            "lot": lot,
            "place": place,
            "amount": amount,
            "reason": reason,
            "at": at,
            "by": by,
            "note": note,
            "price_per_pack": price_per_pack,
            "received_at": received_at,
        },
    )
    if made and reason != MoveReason.COUNTED:
        _balance_at_count(row)
    return row


def _balance_at_count(row: Movement) -> None:
    """A count that came after this movement, but was booked before it was told, holds it already."""
    counts = Movement.objects.filter(
        Q(lot__isnull=True) | Q(lot=row.lot_id),
        item=row.item_id,
        place=row.place_id,
        reason=MoveReason.COUNTED,
        at__gt=row.at,
    )
    count = counts.order_by("at", "pk").first()
    if count is not None:
        Movement.objects.create(
            origin=uuid5(row.origin, f"counted {row.part}"),
            item=row.item,
            lot=row.lot,
            place=row.place,
            amount=-row.amount,
            reason=MoveReason.COUNTED,
            at=count.at,
            by=count.by,
            note=_("told after the count that holds it already"),
            received_at=row.received_at,
        )


def _above_nought(amount: float) -> None:
    if amount <= 0:
        raise NothingMoved(_("Say how much: more than nought."))


def first_store() -> Place:
    """The store where things go while nobody has named a place."""
    found = Place.objects.filter(kind=PlaceKind.STORE).order_by("name", "pk").first()
    return found or Place.objects.create(name=_("Store"), kind=PlaceKind.STORE)


def _lot(item: Item, code: str, expires_on: date | None) -> Lot | None:
    if not code:
        return None
    lot, made = Lot.objects.get_or_create(item=item, code=code, defaults={"expires_on": expires_on})
    if not made and expires_on is not None and lot.expires_on is None:
        Lot.objects.filter(pk=lot.pk).update(expires_on=expires_on)
    elif not made and expires_on not in (None, lot.expires_on):
        raise OtherDate(
            _("Lot %(code)s is known to expire on %(day)s. Look at the label, or change the lot first.")
            % {"code": code, "day": lot.expires_on}
        )
    return lot


@transaction.atomic
def receive(
    *,
    item: Item,
    place: Place | None,
    amount: float,
    code: str,
    expires_on: date | None,
    price_per_pack: Decimal | None,
    at: datetime,
    by: User,
    origin: UUID,
) -> Movement:
    """A delivery came in: so much of a lot, at this price per pack, which becomes the item's. Raises NothingMoved."""
    _above_nought(amount)
    before = Movement.objects.filter(origin=origin, part=0).first()
    if before is not None:
        return before
    if price_per_pack is not None:
        Item.objects.filter(pk=item.pk).update(price_per_pack=price_per_pack)
    return record_movement(
        item=item,
        place=place or first_store(),
        amount=amount,
        reason=MoveReason.RECEIVED,
        at=at,
        by=by,
        origin=origin,
        received_at=at,
        lot=_lot(item, code, expires_on),
        price_per_pack=price_per_pack,
    )


@transaction.atomic
def count(
    *, item: Item, place: Place, lot: Lot | None, there: float, at: datetime, by: User, origin: UUID
) -> Movement:
    """Somebody counted: so much is there. The difference to the book is booked, nought too. Raises NothingMoved."""
    if there < 0:
        raise NothingMoved(_("There cannot be less than nothing. Type what you counted, 0 or more."))
    Item.objects.select_for_update().get(pk=item.pk)
    booked = balance(item, place, lot)
    return record_movement(
        item=item,
        place=place,
        amount=round(there - booked, 6),
        reason=MoveReason.COUNTED,
        at=at,
        by=by,
        origin=origin,
        received_at=at,
        lot=lot,
        note=_("counted %(there)g, the book said %(booked)g") % {"there": there, "booked": booked},
    )


@transaction.atomic
def move(
    *,
    item: Item,
    start: Place,
    end: Place,
    lot: Lot | None,
    amount: float,
    at: datetime,
    by: User,
    origin: UUID,
) -> None:
    """So much goes from one place to another: it leaves here and comes there, or neither. Raises NothingMoved."""
    _above_nought(amount)
    if start == end:
        raise NothingMoved(_("It is there already. Choose two places."))
    for part, place, sign in ((0, start, -1), (1, end, 1)):
        record_movement(
            item=item,
            place=place,
            amount=sign * amount,
            reason=MoveReason.MOVED,
            at=at,
            by=by,
            origin=origin,
            part=part,
            received_at=at,
            lot=lot,
        )


def _kept_by(user: User) -> Place:
    """Where somebody takes from at a visit: the own van, else the store."""
    van = Place.objects.filter(kind=PlaceKind.VAN, keeper=user).order_by("name", "pk").first()
    return van or first_store()


@transaction.atomic
def use(
    *, item: Item, amount: float, lot: Lot | None, at: datetime, by: User, origin: UUID, received_at: datetime
) -> Movement | None:
    """So much was used at a visit, out of the van of whoever was there: of the lot that was named, else of the one that
    expires first. It is booked whatever the book says is left; then somebody has to count. None for a supply of which no
    book is kept, and for nothing."""
    if amount <= 0 or not Movement.objects.filter(item=item).exists():
        return None
    place = _kept_by(by)
    return record_movement(
        item=item,
        place=place,
        amount=-amount,
        reason=MoveReason.USED,
        at=at,
        by=by,
        origin=origin,
        received_at=received_at,
        lot=lot or first_to_expire(item, place),
    )


@transaction.atomic
def put_back(*, used: UUID, at: datetime, by: User, origin: UUID, received_at: datetime) -> int:
    """What was booked as used for a piece of news was not: it is there again. How many movements went back."""
    rows = list(Movement.objects.filter(origin=used, reason=MoveReason.USED).order_by("part"))
    for row in rows:
        record_movement(
            item=row.item,
            place=row.place,
            amount=-row.amount,
            reason=MoveReason.USED,
            at=at,
            by=by,
            origin=origin,
            part=row.part,
            received_at=received_at,
            lot=row.lot,
            note=_("taken back"),
        )
    return len(rows)
