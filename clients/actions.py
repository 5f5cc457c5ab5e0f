"""What changes about clients and their tanks. Each is one verb and one transaction."""

from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from clients.models import KeyLook, Livestock, LivestockFact, PlanChange, ServicePlan, Sight, Site, Tank
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


@transaction.atomic
def change_plan(
    *,
    plan: ServicePlan,
    from_on: date,
    weekday: int,
    second_weekday: int | None,
    starts_on: date,
    technician: User | None,
    called_off: list[str],
    by: User,
    at: datetime,
) -> PlanChange:
    """From a day on the visits of a plan fall on these weekdays, in the weeks counted from `starts_on`, and this technician makes them. How it was
    is kept beside it, so that visits before that day are owed as they were."""
    row = ServicePlan.objects.select_for_update().get(pk=plan.pk)
    fact = PlanChange.objects.create(
        plan=row,
        from_on=from_on,
        was_weekday=row.weekday,
        was_second_weekday=row.second_weekday,
        was_starts_on=row.starts_on,
        was_technician_id=row.technician_id,
        weekday=weekday,
        second_weekday=second_weekday,
        starts_on=starts_on,
        technician=technician,
        called_off=called_off,
        at=at,
        by=by,
        received_at=at,
    )
    ServicePlan.objects.filter(pk=row.pk).update(
        weekday=weekday, second_weekday=second_weekday, starts_on=starts_on, technician=technician
    )
    return fact
