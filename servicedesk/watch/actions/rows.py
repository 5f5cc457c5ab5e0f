"""The rows of what wants attention: one open row for each cause, raised, brought up to date, cleared."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import QuerySet

from clients.models import Tank
from servicedesk.staff.queries import business
from servicedesk.watch.models import Attention
from servicedesk.web.prepared import KEY, Slot, prepared

_KNOWN: ContextVar[set[str] | None] = ContextVar("open rows of the tank that is judged", default=None)


@contextmanager
def rows_known(tank: Tank) -> Iterator[None]:
    """While one tank is judged its open rows are known: what is not open needs no clearing."""
    keys = set(_open_keys(tank=tank.pk))
    token = _KNOWN.set(keys)
    try:
        yield
    finally:
        _KNOWN.reset(token)


@prepared(tank=KEY)
def _open_keys(tank: Slot) -> QuerySet[Attention, str]:
    return Attention.objects.filter(tank=tank, cleared_at__isnull=True).values_list("key", flat=True)


def is_open(key: str) -> bool:
    """Whether a row stands open for a cause."""
    known = _KNOWN.get()
    if known is not None:
        return key in known
    return Attention.objects.filter(key=key, cleared_at__isnull=True).exists()


@transaction.atomic
def raise_attention(*, key: str, at: datetime, **columns: object) -> Attention:
    """Open a row for a cause, or bring the open one up to date; since keeps the first time."""
    known = _KNOWN.get()
    row = Attention.objects.select_for_update().filter(key=key, cleared_at__isnull=True).first()
    if row is None:
        if known is not None:
            known.add(key)
        return Attention.objects.create(key=key, since=at, **columns)
    Attention.objects.filter(pk=row.pk).update(**columns)
    return row


def clear_attention(*, key: str, at: datetime) -> bool:
    """The cause is gone."""
    known = _KNOWN.get()
    if known is not None:
        if key not in known:
            return False
        known.discard(key)
    return bool(Attention.objects.filter(key=key, cleared_at__isnull=True).update(cleared_at=at))


def local(tank: Tank, at: datetime) -> str:
    """A moment as the site's people read it."""
    return f"{at.astimezone(ZoneInfo(tank.site.zone or business().zone)):%d %B, %H:%M}"
