"""What follows from a step of a calibration in other rooms: a task that remains or is called off, and an entry in the visit's journal."""

from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.core.metrology import setting as bench
from servicedesk.desk.queries.calibrating import name_of
from servicedesk.dosing.models import PumpCheck
from servicedesk.instruments.actions.retesting import fact_of
from servicedesk.instruments.choices import ProcedureEnd, ProcedureKind
from servicedesk.instruments.models import Calibration, Procedure
from servicedesk.instruments.queries.procedures import judged, kept_steps
from servicedesk.staff.models import User
from servicedesk.upkeep.actions import call_off, raise_task
from servicedesk.upkeep.choices import TaskState
from servicedesk.upkeep.models import Task
from servicedesk.visits.actions import take_entries
from servicedesk.visits.choices import EntryKind
from servicedesk.web.zones import day_of

WITHIN = timedelta(days=7)
"""What is not believed is seen to within a week (common practice)."""


def _subject(procedure: Procedure) -> str:
    return str(procedure.measure_id or procedure.channel_id)


def _what_to_do(procedure: Procedure) -> str:
    """What somebody has to do where a calibration did not end well."""
    try:
        found = judged(procedure, kept_steps(procedure))
    except ValueError:
        found = None
    if found is None or found.word != bench.STOP:
        return _("Calibrate again: %(name)s")
    if procedure.kind == ProcedureKind.TWO_BUFFERS:
        return _("Replace the electrode: %(name)s")
    if procedure.kind == ProcedureKind.PUMP:
        return _("Replace the tubing: %(name)s")
    return _("Look for the cause, then calibrate: %(name)s")


@transaction.atomic
def owe_again(*, procedure: Procedure, why: str, at: datetime) -> Task:
    """It did not agree, or was left off after it was measured: a task remains, one for each procedure."""
    device, name = procedure.instrument.equipment, name_of(procedure)
    if procedure.channel is None:
        name = f"{name}, {device.name}"
    title = (_what_to_do(procedure) % {"name": name})[:100]
    day = day_of(at)
    return raise_task(
        tank=procedure.instrument.tank,
        key=f"calibrate:{_subject(procedure)}:{procedure.pk}",
        title=title,
        why=why[:200],
        earliest=day,
        due=day,
        latest=day + WITHIN,
        at=at,
        minutes=20,
        equipment=device if procedure.channel is None else procedure.channel.equipment,
        hazards=["mains", "acid"],
    )


@transaction.atomic
def settle(*, procedure: Procedure, by: User, at: datetime) -> bool:
    """It agrees: what was owed is called off, and the visit from which it was begun tells it. Whether the visit's journal took it."""
    procedure.refresh_from_db()
    if procedure.ended_as != ProcedureEnd.AGREES:
        return False
    begun = Task.objects.filter(key__startswith=f"calibrate:{_subject(procedure)}:", state=TaskState.OPEN)
    call_off(keys=list(begun.values_list("key", flat=True)))
    payload = _payload(procedure)
    if procedure.visit is None or payload is None:
        return False
    kind = EntryKind.CALIBRATION if procedure.measure_id else EntryKind.PUMP_CHECK
    entry = {
        "id": str(fact_of(procedure)),
        "visit": str(procedure.visit),
        "kind": str(kind),
        "payload": payload,
        "tablet": "form",
        "seq": 0,
        "tablet_time": at.isoformat(),
        "zone": by.zone,
    }
    (receipt,) = take_entries(entries=[entry], by=by, at=at)
    return receipt["reason"] == ""


def _payload(procedure: Procedure) -> dict[str, str] | None:
    """The fact in the words of the journal. What was compared only and left as it was is no calibration to tell."""
    origin = fact_of(procedure)
    if procedure.measure_id is None:
        ran = PumpCheck.objects.get(origin=origin)
        return {"channel": str(ran.channel_id), **_numbers(ran, "asked_ml", "before_ml", "after_ml")}
    row = Calibration.objects.get(origin=origin)
    if row.left_as_is:
        return None
    return {"measure": str(row.measure_id), **_numbers(row, "reference", "before", "after")}


def _numbers(row: Calibration | PumpCheck, *names: str) -> dict[str, str]:
    """Numbers as they would be typed."""
    return {name: f"{getattr(row, name):.6f}" for name in names}
