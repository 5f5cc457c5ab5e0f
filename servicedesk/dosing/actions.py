"""Recording what was added to tanks and how pumps were set. The tool commands no device: people set, this records."""

from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction

from clients.models import Tank
from servicedesk.dosing.choices import DoseKind, TreatmentForm
from servicedesk.dosing.models import Channel, Dose, PumpCheck, RateChange, Refill, Solution, Treatment
from servicedesk.staff.models import User
from servicedesk.stock.models import Lot
from servicedesk.water import actions as water

MOST_ML = 1e6
TOLD = {
    "vet": "the veterinarian",
    "product": "the product",
    "form": "its form",
    "lot": "its lot",
    "dose": "the dose",
}


class NotDosed(Exception):
    """An amount or a rate that cannot be; the sentence says why."""


@transaction.atomic
def record_dose(
    *,
    tank: Tank,
    solution: Solution,
    ml: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    channel: Channel | None = None,
    kind: str = DoseKind.BY_HAND,
) -> Dose:
    """So many mL went in. The same (origin, part) again is the same dose."""
    if not 0 < ml < MOST_ML:
        raise NotDosed(f"{ml:g} mL cannot be: say how much went in.")
    row, made = Dose.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "tank": tank,
            "solution": solution,
            "channel": channel,
            "kind": kind,
            "at": at,
            "ml": ml,
            "by": by,
            "received_at": received_at,
        },
    )
    if made:
        water.touch(tank=tank, at=at)
    return row


@transaction.atomic
def set_rate(
    *,
    channel: Channel,
    ml_per_day: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    why: str = "",
    until: datetime | None = None,
) -> RateChange:
    """A person set a channel to so many mL a day; `until` ends a temporary rate."""
    most = MOST_ML if channel.max_ml_per_day is None else channel.max_ml_per_day
    if not 0 <= ml_per_day <= most:
        raise NotDosed(f"{ml_per_day:g} mL a day cannot be: this channel gives 0 to {most:g}.")
    row, made = RateChange.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "channel": channel,
            "ml_per_day": ml_per_day,
            "at": at,
            "until": until,
            "why": why,
            "by": by,
            "received_at": received_at,
        },
    )
    if made:
        water.touch(tank=channel.tank, at=at)
    return row


@transaction.atomic
def record_refill(
    *,
    channel: Channel,
    ml_now: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    ml_before: float | None = None,
    lot: Lot | None = None,
) -> Refill:
    """The container holds `ml_now` mL after filling."""
    if not 0 <= ml_now <= channel.container_ml * 1.1:
        raise NotDosed(f"{ml_now:g} mL cannot be: the container holds {channel.container_ml:g} mL.")
    row, made = Refill.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "channel": channel,
            "ml_now": ml_now,
            "ml_before": ml_before,
            "lot": lot,
            "at": at,
            "by": by,
            "received_at": received_at,
        },
    )
    if made:
        water.touch(tank=channel.tank, at=at)
    return row


@transaction.atomic
def record_pump_check(
    *,
    channel: Channel,
    asked_ml: float,
    before_ml: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    after_ml: float | None = None,
) -> PumpCheck:
    """The channel was run and measured, before and after setting."""
    came = [before_ml] if after_ml is None else [before_ml, after_ml]
    if not 0 < asked_ml < MOST_ML or not all(0 <= ml < MOST_ML for ml in came):
        raise NotDosed("Say how many mL were asked for and how many came.")
    row, _made = PumpCheck.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "channel": channel,
            "asked_ml": asked_ml,
            "before_ml": before_ml,
            "after_ml": after_ml,
            "at": at,
            "by": by,
            "received_at": received_at,
        },
    )
    return row


LONGEST_TREATMENT = timedelta(days=120)


@transaction.atomic
def record_treatment(
    *,
    tank: Tank,
    told: dict[str, str],
    until_on: date,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
) -> Treatment:
    """A medicine was given: `told` holds vet, product, form, lot and dose, each as it was ordered; none may be missing."""
    missing = [word for name, word in TOLD.items() if not told.get(name, "").strip()]
    if missing:
        raise NotDosed(f"A treatment is told whole: {', '.join(missing)} is missing.")
    if told["form"] not in TreatmentForm.values:
        raise NotDosed("The form is free copper, complexed copper, formalin or something else.")
    if not timedelta(0) <= until_on - at.date() <= LONGEST_TREATMENT:
        raise NotDosed("A treatment ends today or later, within four months.")
    kept = {name: told[name].strip() for name in TOLD}
    row, made = Treatment.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={"tank": tank, "until_on": until_on, "at": at, "by": by, "received_at": received_at, **kept},
    )
    if made:
        water.touch(tank=tank, at=at)
    return row
