"""What changes about clients and their tanks. Each is one verb and one transaction."""

from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from clients.models import KeyLook, Livestock, LivestockFact, Sight, Site, Tank
from servicedesk.staff.models import User


class NotSound(Exception):
    """Something about a client cannot be so; the sentence says what."""


@transaction.atomic
def give_sight(*, user: User, tank: Tank, first_day: date, last_day: date, why: str, cause: UUID) -> Sight:
    """Let a technician see a tank from first to last day. The same cause again moves the days."""
    row, _made = Sight.objects.update_or_create(
        user=user, tank=tank, cause=cause, defaults={"first_day": first_day, "last_day": last_day, "why": why}
    )
    return row


@transaction.atomic
def take_sight(*, cause: UUID, but: User) -> None:
    """A cause lets only this technician see its tanks: what it let others see is taken back."""
    Sight.objects.filter(cause=cause).exclude(user=but).delete()


@transaction.atomic
def record_livestock(
    *,
    livestock: Livestock,
    change: str,
    number: int,
    cause: str = "",
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
) -> LivestockFact:
    """Animals were added, died or moved out. More deaths than animals are recorded: the fact stands, the count
    is mended by a person."""
    if number < 1:
        raise NotSound("Say how many animals: one or more.")
    row, _made = LivestockFact.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "livestock": livestock,
            "change": change,
            "number": number,
            "cause": cause,
            "at": at,
            "by": by,
            "received_at": received_at,
        },
    )
    return row


@transaction.atomic
def log_key_look(*, site: Site, user: User, at: datetime) -> KeyLook:
    """Somebody looks at the key or code of a site: the look is kept."""
    return KeyLook.objects.create(site=site, user=user, at=at)
