"""The rows of what wants attention: one open row for each cause, raised, brought up to date, cleared."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F, QuerySet

from clients.models import Tank
from servicedesk.staff.queries import business
from servicedesk.watch.models import CHATTERS, Attention
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
    """Whether a row of the tank that is judged stands open for a cause."""
    return key in (_KNOWN.get() or ())


def open_keys(start: str) -> list[str]:
    """The causes that begin so, of the tank that is judged, for which a row stands open."""
    return sorted(key for key in _KNOWN.get() or () if key.startswith(start))


AGAIN_WITHIN = timedelta(hours=1)
"""What opens again within an hour is the same alarm; a chattering one clears after an hour of calm (common practice)."""


@transaction.atomic
def raise_attention(*, key: str, at: datetime, **columns: object) -> Attention:
    """Open a row for a cause, or bring the open one up to date; since keeps the first time. One that was cleared within the hour opens
    again."""
    known = _KNOWN.get()
    row = Attention.objects.select_for_update().filter(key=key, cleared_at__isnull=True).first()
    if row is None:
        if known is not None:
            known.add(key)
        return _again(key, at, columns) or Attention.objects.create(
            key=key, since=at, changed_at=at, **columns
        )
    Attention.objects.filter(pk=row.pk).update(calm_since=None, **columns)
    return row


def _again(key: str, at: datetime, columns: dict[str, object]) -> Attention | None:
    """The row of the same cause that was cleared a moment ago, opened again."""
    row = (
        Attention.objects.filter(key=key, cleared_at__gt=at - AGAIN_WITHIN, cleared_at__lte=at)
        .order_by("-cleared_at", "pk")
        .first()
    )
    if row is None:
        return None
    rows = Attention.objects.filter(pk=row.pk)
    rows.update(cleared_at=None, opened=F("opened") + 1, changed_at=at, **columns)
    return rows.get()


def clear_attention(*, key: str, at: datetime) -> bool:
    """The cause is gone. A chattering row stays until it has been calm for an hour (`calm`)."""
    known = _KNOWN.get()
    if known is not None and key not in known:
        return False
    rows = Attention.objects.filter(key=key, cleared_at__isnull=True)
    quiet = rows.filter(opened__lt=CHATTERS).update(cleared_at=at)
    if quiet:
        if known is not None:
            known.discard(key)
        return True
    rows.filter(opened__gte=CHATTERS, calm_since__isnull=True).update(calm_since=at)
    return False


def calm(*, at: datetime) -> int:
    """Clear what chattered and was calm for an hour; how many."""
    return Attention.objects.filter(cleared_at__isnull=True, calm_since__lte=at - AGAIN_WITHIN).update(
        cleared_at=at
    )


def local(tank: Tank, at: datetime) -> str:
    """A moment as the site's people read it."""
    return f"{at.astimezone(ZoneInfo(tank.site.zone or business().zone)):%d %B, %H:%M}"
