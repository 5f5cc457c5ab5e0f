"""Movements of supplies. A balance may go below nought: the fact is recorded, the difference booked by counting."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from servicedesk.staff.models import User
from servicedesk.stock.models import Item, Lot, Movement, Place


class NothingMoved(Exception):
    """A movement of nothing."""


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
) -> Movement:
    """So much came (+) or left (-), in the item's unit. The same (origin, part) again is the same movement."""
    if amount == 0:
        raise NothingMoved("Say how much moved: more or less than nought.")
    row, _made = Movement.objects.get_or_create(
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
            "received_at": received_at,
        },
    )
    return row
