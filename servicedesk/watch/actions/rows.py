"""The rows of what wants attention: one open row for each cause, raised, brought up to date, cleared."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.db import transaction

from clients.models import Tank
from servicedesk.staff.queries import business
from servicedesk.watch.models import Attention


@transaction.atomic
def raise_attention(*, key: str, at: datetime, **columns: object) -> Attention:
    """Open a row for a cause, or bring the open one up to date; since keeps the first time."""
    row = Attention.objects.select_for_update().filter(key=key, cleared_at__isnull=True).first()
    if row is None:
        return Attention.objects.create(key=key, since=at, **columns)
    Attention.objects.filter(pk=row.pk).update(**columns)
    return row


@transaction.atomic
def clear_attention(*, key: str, at: datetime) -> bool:
    """The cause is gone."""
    return bool(Attention.objects.filter(key=key, cleared_at__isnull=True).update(cleared_at=at))


def local(tank: Tank, at: datetime) -> str:
    """A moment as the site's people read it."""
    return f"{at.astimezone(ZoneInfo(tank.site.zone or business().zone)):%d %B, %H:%M}"
