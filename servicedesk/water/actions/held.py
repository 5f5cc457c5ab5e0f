"""What becomes of values held apart: a person takes them in, or leaves them out. Both stay on record."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from django.db import transaction

from clients.models import Equipment, Tank
from servicedesk.core import units
from servicedesk.staff.models import User
from servicedesk.water.actions.intake import ANOTHER
from servicedesk.water.actions.readings import (
    NotWater,
    by_hand,
    correct_reading,
    record_reading,
    source_of,
)
from servicedesk.water.choices import HeldDecision
from servicedesk.water.models import HeldReading, Method, Reading, Source

USUAL_WHY = "Taken in after it was held apart."


class Whose(NamedTuple):
    """Whose values they are, and of which water."""

    equipment: Equipment
    tank: Tank


@dataclass
class Released:
    """How many were taken in, and why the others could not be."""

    taken: int = 0
    refused: list[str] = field(default_factory=list)


def _decide(row: HeldReading, decision: str, *, by: User, at: datetime, why: str) -> bool:
    """Write down what was decided; False where somebody decided before."""
    return bool(
        HeldReading.objects.filter(pk=row.pk, decided_at__isnull=True).update(
            decision=decision, decided_at=at, decided_by=by, decided_why=why[:200]
        )
    )


@transaction.atomic
def discard_held(*, rows: Iterable[HeldReading], by: User, at: datetime, why: str) -> int:
    """Leave values out for good; how many. Raises NotWater without a reason."""
    if not why.strip():
        raise NotWater("Say why they are left out.")
    return sum(_decide(row, HeldDecision.DISCARDED, by=by, at=at, why=why) for row in rows)


@transaction.atomic
def release_held(
    *,
    rows: Iterable[HeldReading],
    parameter: str,
    unit: str,
    method: Method,
    by: User,
    at: datetime,
    why: str = "",
    whose: Whose | None = None,
) -> Released:
    """Take values in as that parameter in that unit, by that method. What physically cannot be stays held; a second value for a moment
    corrects the one that is stored. `whose`: what they are of, where another sent them for it."""
    units.factor_of(parameter=parameter, unit=unit)  # an unknown unit refuses all of them at once
    found = Released()
    for row in rows:
        try:
            with transaction.atomic():
                _release(
                    row, parameter, unit, method, by=by, at=at, why=why.strip() or USUAL_WHY, whose=whose
                )
        except NotWater as wrong:
            found.refused = list(dict.fromkeys([*found.refused, str(wrong)]))
        else:
            found.taken += 1
    return found


def _release(
    row: HeldReading, parameter: str, unit: str, method: Method, *, by: User, at: datetime, why: str, whose: Whose | None
) -> None:  # fmt: skip
    if row.at is None or not row.entered:
        raise NotWater("It holds no value with a time: it can only be left out.")
    if not _decide(row, HeldDecision.RELEASED, by=by, at=at, why=why):
        raise NotWater("Somebody has decided before.")
    sender = whose.equipment if whose else row.equipment
    tank = whose.tank if whose else row.tank
    source = source_of(sender) if sender else by_hand()
    if row.reason == ANOTHER:
        _correct(row, row.at, tank, parameter, unit, source, by=by, at=at, why=why)
        return
    stored = record_reading(
        tank=tank,
        parameter=parameter,
        method=method,
        source=source,
        at=row.at,
        entered=row.entered,
        unit=unit,
        by=by if row.equipment is None else None,
        origin=row.pk,
        received_at=row.received_at,
    )
    if isinstance(stored, HeldReading):
        raise NotWater(stored.reason)


def _correct(
    row: HeldReading,
    moment: datetime,
    tank: Tank,
    parameter: str,
    unit: str,
    source: Source,
    *,
    by: User,
    at: datetime,
    why: str,
) -> None:
    """The value that came second counts in place of the first."""
    stored = (
        Reading.objects.filter(
            series__tank=tank, series__parameter=parameter, series__source=source, at=moment
        )
        .order_by("seq", "pk")
        .first()
    )
    if stored is None:
        raise NotWater("The value it contradicts is not there any more.")
    new = units.to_canonical(parameter=parameter, value=units.parse_typed(row.entered), unit=unit)
    correct_reading(reading=stored, new=new, why=why, by=by, at=at, origin=row.pk, received_at=at)
