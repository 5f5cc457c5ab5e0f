"""A procedure of calibration: begun, left and taken up again, each step a fact. The tool says what to set; a person sets it.

From the first step on what it says is to be checked, and stays so until a re-test agrees (actions.retesting)."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.core.metrology import procedures as book
from servicedesk.dispatch.actions import withdraw
from servicedesk.dosing.models import Channel
from servicedesk.instruments.actions.trust import move_trust
from servicedesk.instruments.choices import ProcedureEnd, ProcedureKind, Trust
from servicedesk.instruments.models import Instrument, Measure, Procedure, ProcedureStep
from servicedesk.instruments.queries import trust_of
from servicedesk.instruments.queries.procedures import END, here, kept_steps, suits_measure
from servicedesk.staff.models import User
from servicedesk.stock import actions as stock
from servicedesk.stock.models import Lot
from servicedesk.water import actions as water
from servicedesk.water.models import HeldReading
from servicedesk.web.zones import day_of

AWAY = "It was being calibrated then: what it sensed was not the tank's water."
AT_MOST_AWAY = timedelta(hours=2)
"""So long after the last step a sensor is taken to be out of the tank (common practice)."""
OUT_OF_WATER = (ProcedureKind.TWO_BUFFERS, ProcedureKind.CELL, ProcedureKind.LINE)


class NotCalibrated(Exception):
    """The step cannot be done; the sentence says why."""


@transaction.atomic
def begin(
    *,
    instrument: Instrument,
    measure: Measure | None = None,
    channel: Channel | None = None,
    by: User,
    at: datetime,
    visit: UUID | None = None,
    task: UUID | None = None,
) -> Procedure:
    """Begin to calibrate a measure or a channel of an instrument, or take up what was left. Raises NotCalibrated where nothing can be set."""
    kind: str = ProcedureKind.PUMP
    if measure is not None:
        suits = suits_measure(measure)
        if suits is None:
            raise NotCalibrated(_("Nothing can be set here on the spot: compare it with a test by hand."))
        kind = suits.kind
    return Procedure.objects.get_or_create(
        measure=measure,
        channel=channel,
        ended_at=None,
        defaults={
            "instrument": instrument,
            "kind": kind,
            "begun_at": at,
            "begun_by": by,
            "visit": visit,
            "task": task,
        },
    )[0]


def opened(procedure: Procedure, step: str) -> Procedure:
    """The procedure, locked, where this step may be done now. Raises NotCalibrated."""
    row = Procedure.objects.select_for_update(of=("self",)).get(pk=procedure.pk)
    if row.ended_at is not None:
        raise NotCalibrated(_("This calibration has ended. Begin another one."))
    order = [known.key for known in book.steps_of(row.kind)]
    next_one = here(row, kept_steps(row))
    if next_one != END and order.index(step) > order.index(next_one):
        title = next(known.title for known in book.steps_of(row.kind) if known.key == next_one)
        raise NotCalibrated(_("First comes: %(step)s.") % {"step": title})
    return row


def done_before(origin: UUID) -> ProcedureStep | None:
    """The step that this very form made, where it came before."""
    return ProcedureStep.objects.filter(origin=origin).first()


def add_step(
    procedure: Procedure,
    step: str,
    *,
    by: User,
    at: datetime,
    origin: UUID,
    words: str,
    data: dict[str, Any],
    lot: Lot | None = None,
) -> ProcedureStep:
    """Keep one step; the sensor is out of the tank for a while longer, where it is."""
    if procedure.away_from is not None:
        Procedure.objects.filter(pk=procedure.pk).update(away_to=at + AT_MOST_AWAY)
    return ProcedureStep.objects.create(
        procedure=procedure, step=step, at=at, by=by, words=words[:300], data=data, lot=lot, origin=origin, received_at=at
    )  # fmt: skip


@transaction.atomic
def make_ready(*, procedure: Procedure, by: User, at: datetime, origin: UUID) -> ProcedureStep:
    """All lies ready, and what acts on the value is off. What it says is to be checked from now on."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "ready")
    if row.kind in OUT_OF_WATER and row.away_from is None:
        row.away_from = at
        row.save(update_fields=["away_from"])
    if row.measure is not None and trust_of(row.measure) == Trust.BELIEVED:
        why = _("It is being calibrated.")
        move_trust(measure=row.measure, trust=Trust.TO_CHECK, why=why, at=at, origin=origin, received_at=at)
    return add_step(row, "ready", by=by, at=at, origin=origin, words=_("All lies ready."), data={})


def checked_lot(lot: Lot | None, at: datetime) -> Lot | None:
    """The lot, where it has not expired. Raises NotCalibrated."""
    if lot is not None and lot.expires_on is not None and lot.expires_on < day_of(at):
        words = _("Lot %(code)s expired on %(day)s: nothing is set by it. Take a fresh one.")
        raise NotCalibrated(words % {"code": lot.code, "day": lot.expires_on})
    return lot


def use_up(row: ProcedureStep, used: float | None) -> None:
    """What was poured of a lot leaves the book, where one is kept of it."""
    if row.lot is not None and used:
        stock.use(
            item=row.lot.item, amount=used, lot=row.lot, at=row.at, by=row.by, origin=row.origin, received_at=row.at
        )  # fmt: skip


def close(procedure: Procedure, *, by: User, at: datetime, ended_as: str) -> None:
    """It ends. What came of it meanwhile was no water of the tank and is left out."""
    Procedure.objects.filter(pk=procedure.pk).update(ended_at=at, ended_as=ended_as)
    if procedure.away_from is None or procedure.measure is None:
        return
    Procedure.objects.filter(pk=procedure.pk).update(away_to=at)
    apart = HeldReading.objects.filter(
        equipment=procedure.instrument.equipment_id,
        parameter=procedure.measure.parameter,
        at__gte=procedure.away_from,
        reason=AWAY,
        decided_at__isnull=True,
    )
    water.discard_held(rows=list(apart), by=by, at=at, why=_("It stood in a standard, or was being set."))


@transaction.atomic
def leave_off(*, procedure: Procedure, by: User, at: datetime, origin: UUID) -> Procedure:
    """Left off. Where nothing was measured it stands as it stood before; else what it says stays to be checked. Twice is once."""
    row = Procedure.objects.select_for_update(of=("self",)).get(pk=procedure.pk)
    if row.ended_at is None:
        kept = kept_steps(row)
        differs = "retest" in kept
        if set(kept) == {"ready"}:
            withdraw(
                withdrawn=kept["ready"].origin, why=_("Nothing was measured."), at=at, origin=origin, received_at=at
            )  # fmt: skip
        close(row, by=by, at=at, ended_as=ProcedureEnd.DIFFERS if differs else ProcedureEnd.LEFT)
        row.refresh_from_db()
        water.touch(tank=row.instrument.tank, at=at)
    return row
