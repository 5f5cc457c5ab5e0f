"""Reagent loaded, and instruments calibrated. After a calibration the measure is to be checked until a re-test agrees."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import Trust
from servicedesk.instruments.models import Calibration, Measure, ReagentLoad
from servicedesk.staff.models import User
from servicedesk.stock.models import Lot
from servicedesk.water import actions as water


class NotLoaded(Exception):
    """An amount that cannot be; the sentence says why."""


@transaction.atomic
def record_load(
    *,
    measure: Measure,
    ml: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    lot: Lot | None = None,
) -> ReagentLoad:
    """A bottle of so many mL was put in. What the measure then says is to be checked: a new bottle may be made up
    wrongly, and every later result would be off by one proportion."""
    if not 0 < ml < 1e5:
        raise NotLoaded(f"{ml:g} mL cannot be: say how much reagent is in the bottle.")
    row, made = ReagentLoad.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={"measure": measure, "ml": ml, "lot": lot, "at": at, "by": by, "received_at": received_at},
    )
    if made:
        move_trust(
            measure=measure,
            trust=Trust.TO_CHECK,
            why="New reagent was loaded.",
            at=at,
            origin=origin,
            part=part + 100,
            received_at=received_at,
        )
    return row


@transaction.atomic
def record_calibration(
    *,
    measure: Measure,
    reference: float,
    before: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    after: float | None = None,
    reference_u: float | None = None,
    found: Mapping[str, Any] | None = None,
) -> Calibration:
    """An instrument was calibrated against a reference value; canonical units. `found`: what a procedure says besides (the other fields of
    Calibration)."""
    told: dict[str, Any] = {
        "reference": reference,
        "reference_u": reference_u,
        "before": before,
        "after": after,
    }
    told |= {"measure": measure, "at": at, "by": by, "received_at": received_at, **(found or {})}
    row, made = Calibration.objects.get_or_create(origin=origin, part=part, defaults=told)
    if made:
        water.touch(tank=measure.instrument.tank, at=at)
        move_trust(
            measure=measure,
            trust=Trust.TO_CHECK,
            why="It was calibrated and waits for a test that agrees.",
            at=at,
            origin=origin,
            part=part + 100,
            received_at=received_at,
        )
    return row
