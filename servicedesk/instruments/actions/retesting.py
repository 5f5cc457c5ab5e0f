"""A person set it, or left it as it was; then it is tested again. Only a re-test that agrees makes it believed, and is written down as a
calibration; one that does not leaves trust down, with its reason. Canonical units."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.core import units
from servicedesk.core.metrology import setting as bench
from servicedesk.core.metrology.procedures import PUMP_ALLOWED
from servicedesk.core.metrology.propagation import Known
from servicedesk.core.metrology.setting import LOOK, STOP
from servicedesk.core.metrology.uncertainty import (
    Deviation,
    MethodSpec,
    Reference,
    agrees,
    deviation,
)
from servicedesk.dosing import actions as dosing
from servicedesk.instruments.actions.calibrating import (
    NotCalibrated,
    add_step,
    close,
    done_before,
    opened,
    use_up,
)
from servicedesk.instruments.actions.loads import record_calibration
from servicedesk.instruments.actions.measuring import Bottle, bottle_data, by_hand, steady
from servicedesk.instruments.actions.trust import doubt_anew, move_trust
from servicedesk.instruments.choices import ProcedureEnd, ProcedureKind, Trust
from servicedesk.instruments.models import Measure, Procedure, ProcedureStep
from servicedesk.instruments.queries import measured_by
from servicedesk.instruments.queries.procedures import (
    Judged,
    Kept,
    Point,
    judged,
    kept_steps,
    old_line,
    suits_of,
)
from servicedesk.staff.models import User
from servicedesk.water.models import Method

BELIEVED, DOUBTED = 201, 202
"""Parts of the moves of trust that a re-test makes."""


@transaction.atomic
def set_it(
    *,
    procedure: Procedure,
    anew: bool,
    looked: bool,
    old: float | None,
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """A person set the device as it was worked out (`anew`), or left it as it was. `looked`: a cause was looked for. Raises NotCalibrated where
    the correction is not one that setting mends."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "set")
    try:
        found = judged(row, kept_steps(row))
    except ValueError as wrong:
        raise NotCalibrated(str(wrong)) from wrong
    assert found is not None  # the steps before it are done
    if anew and found.word == STOP:
        raise NotCalibrated(_("That much is not mended by setting. Look for the cause, then measure again."))
    if anew and found.word == LOOK and not looked:
        raise NotCalibrated(_("That is more than is usual: look for the cause first, and say that you did."))
    data, words = _set_data(row, found, anew=anew, old=old)
    done = add_step(row, "set", by=by, at=at, origin=origin, words=words, data=data)
    if anew and row.measure is not None:
        _new_points(row, found)
        doubt_anew(
            measure=row.measure, why=_("It was set anew and waits for a test that agrees."), at=at, origin=origin, received_at=at
        )  # fmt: skip
    return done


def _set_data(row: Procedure, found: Judged, *, anew: bool, old: float | None) -> tuple[dict[str, Any], str]:
    data: dict[str, Any] = {"anew": anew, "word": found.word}
    if not anew:
        return data, _("Left as it was.")
    one, by_factor = found.points[0][1], suits_of(row).by_factor
    single = row.kind in (ProcedureKind.ONE_POINT, ProcedureKind.CELL)
    if single:
        data |= {"factor": one.factor} if by_factor else {"offset": one.offset}
    if single and old is not None:
        data |= {"old": old, "new": bench.new_setting(old=old, found=one, by_factor=by_factor)}
        words = _("Set from %(old)s to %(new)s.") % {"old": f"{old:g}", "new": f"{data['new']:.4g}"}
        return data, words
    return data, _("Set as it was worked out.")


def _new_points(row: Procedure, found: Judged) -> None:
    """The points by which our side turns an analogue line's volts are ours to keep."""
    if row.measure is not None and found.line is not None:
        line = found.line
        Measure.objects.filter(pk=row.measure.pk).update(
            low_volts=line.low_volts, low_value=line.low_value, high_volts=line.high_volts, high_value=line.high_value
        )  # fmt: skip


@transaction.atomic
def retest_standard(
    *,
    procedure: Procedure,
    bottle: Bottle,
    shown: float,
    minute_before: float | None,
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """A standard measured again as a sample; of an analogue line `shown` are the volts that arrive."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "retest")
    measure = _measured(row)
    shown = _turned(row, measure, shown)
    data = bottle_data(bottle, measure, at)
    steady(row, shown, minute_before)
    reference = bench.taken_for_true(Known(data["reference"], data["u"]))
    done = _judge(row, measure, reference, shown, data, by=by, at=at, origin=origin, bottle=bottle)
    use_up(done, bottle.used)
    return done


@transaction.atomic
def retest_hand(
    *,
    procedure: Procedure,
    method: Method,
    results: Sequence[float],
    shown: float,
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """A fresh test of the tank by hand, beside what it shows of the tank now; of an analogue line `shown` are the volts that arrive."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "retest")
    measure = _measured(row)
    shown = _turned(row, measure, shown)
    reference = by_hand(measure, method, results, by=by, at=at, origin=origin)
    name = _("%(method)s, by hand") % {"method": method.name}
    data = {
        "against": "hand",
        "name": name,
        "reference": reference.value,
        "u": reference.u,
        "results": list(results),
    }
    return _judge(row, measure, reference, shown, data, by=by, at=at, origin=origin)


def _turned(row: Procedure, measure: Measure, shown: float) -> float:
    return old_line(measure).at(shown) if row.kind == ProcedureKind.LINE else shown


def _measured(row: Procedure) -> Measure:
    if row.measure is None:
        raise NotCalibrated(_("A pump is tested again by volume."))
    return row.measure


def _judge(
    row: Procedure,
    measure: Measure,
    reference: Reference,
    shown: float,
    data: Mapping[str, Any],
    *,
    by: User,
    at: datetime,
    origin: UUID,
    bottle: Bottle | None = None,
) -> ProcedureStep:
    """What the re-test says, kept; trust follows it."""
    found = deviation(instrument_value=shown, instrument=measured_by(measure), reference=reference)
    good, words = agrees(found), _said(measure.parameter, found)
    more = {
        "shown": shown,
        "delta": found.delta,
        "expanded": found.expanded,
        "allowed": found.allowed,
        "agrees": good,
    }
    lot = bottle.lot if bottle else None
    kept = kept_steps(row)
    done = add_step(row, "retest", by=by, at=at, origin=origin, words=words, data={**data, **more}, lot=lot)
    if good:
        _believe(row, measure, kept, done)
    else:
        why = _("A re-test after calibrating did not agree. %(words)s") % {"words": words}
        doubt_anew(measure=measure, why=why, at=at, origin=origin, part=DOUBTED, received_at=at)
    return done


def _said(parameter: str, found: Deviation) -> str:
    known = units.parameter(parameter)
    digits, unit = known.decimals + 1, units.unit_word(known.unit)
    return _("Off by %(delta)s, at most %(most)s agrees.") % {
        "delta": f"{found.delta:+.{digits}f}",
        "most": f"{max(found.expanded, found.allowed):.{digits}f} {unit}".strip(),
    }


def _nearest(points: Sequence[Point], value: float) -> Point:
    """Of what was measured before, the point nearest to that value."""
    return min(points, key=lambda point: abs(point.true.value - value))


def _believe(row: Procedure, measure: Measure, kept: Kept, done: ProcedureStep) -> None:
    """The calibration is written down, as of when it was set, and it is believed again."""
    said, set_step = judged(row, kept), kept["set"]
    assert said is not None  # nothing is set before all is measured
    data = done.data
    point = _nearest([one for one, _setting in said.points], data["reference"])
    anew = bool(set_step.data["anew"])
    lot = done.lot or (kept[point.step].lot if point.step in kept else None)
    found: dict[str, Any] = {
        "procedure": row,
        "lot": lot,
        "after_reference": data["reference"],
        "left_as_is": not anew,
        "factor": set_step.data.get("factor"),
        "offset": set_step.data.get("offset"),
    }
    if said.electrode is not None:
        found |= {"slope_mv_per_ph": said.electrode.slope_mv, "offset_mv": said.electrode.offset_mv}
    record_calibration(
        measure=measure, reference=point.true.value, reference_u=point.true.u, before=point.shown.value, after=data["shown"],
        at=set_step.at, by=done.by, origin=fact_of(row), received_at=done.at, found=found,
    )  # fmt: skip
    move_trust(
        measure=measure, trust=Trust.BELIEVED, why=_("A re-test after calibrating agrees with it."), at=done.at,
        origin=fact_of(row), part=BELIEVED, received_at=done.at,
    )  # fmt: skip
    close(row, by=done.by, at=done.at, ended_as=ProcedureEnd.AGREES)


def fact_of(procedure: Procedure) -> UUID:
    """The id under which a procedure's calibration, or check of a pump, is a fact: the same for a visit's journal."""
    return uuid5(procedure.pk, "calibration")


@transaction.atomic
def retest_pump(
    *, procedure: Procedure, caught: float, good_to: float, by: User, at: datetime, origin: UUID
) -> ProcedureStep:
    """The channel ran again: told the same amount, so many mL came, read to ± so much."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "retest")
    if row.channel is None:
        raise NotCalibrated(_("Only a pump is tested by volume."))
    if not 0 < caught < 1e6 or not 0 <= good_to < 1e6:
        raise NotCalibrated(_("Say how many mL came: above nought."))
    kept = kept_steps(row)
    asked = kept["run"].data["asked"]
    spec = MethodSpec("pump", "", tolerance_rel=PUMP_ALLOWED)
    true = bench.standard_of(caught, good_to)
    found = deviation(instrument_value=asked, instrument=spec, reference=bench.taken_for_true(true))
    good = agrees(found)
    words = _("Told %(asked)s mL, caught %(caught)s mL: at most %(most)s mL apart agrees.") % {
        "asked": f"{asked:g}",
        "caught": f"{caught:g}",
        "most": f"{max(found.expanded, found.allowed):.2g}",
    }
    data = {"caught": caught, "agrees": good, "delta": found.delta, "expanded": found.expanded}
    done = add_step(row, "retest", by=by, at=at, origin=origin, words=words, data=data)
    if good:
        ran = kept["run"].data["caught"]
        dosing.record_pump_check(
            channel=row.channel, asked_ml=asked, before_ml=sum(ran) / len(ran), after_ml=caught, at=kept["set"].at, by=by,
            origin=fact_of(row), received_at=at,
        )  # fmt: skip
        close(row, by=by, at=at, ended_as=ProcedureEnd.AGREES)
    return done
