"""What is measured while something is calibrated: a buffer, a standard, a test by hand, what the device shows, volts, mL. Canonical units.

Every step is kept once by its origin, refused where the value still moves or the standard has expired, and what was poured leaves the
book of supplies."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.core import units
from servicedesk.core.chemistry import standards
from servicedesk.core.chemistry.electrode import NoSlope, check_apart
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.core.metrology import setting as bench
from servicedesk.core.metrology.propagation import NotPropagated, rectangular_u
from servicedesk.core.metrology.uncertainty import Reference, Replicate, reference_value
from servicedesk.instruments.actions.calibrating import (
    NotCalibrated,
    add_step,
    checked_lot,
    done_before,
    opened,
    use_up,
)
from servicedesk.instruments.models import Measure, Procedure, ProcedureStep
from servicedesk.instruments.queries import measured_by
from servicedesk.instruments.queries.procedures import kept_steps, old_line, suits_of
from servicedesk.staff.models import User
from servicedesk.stock.models import Lot
from servicedesk.water import actions as water
from servicedesk.water.models import HeldReading, Method
from servicedesk.water.queries import spec_of


@dataclass(frozen=True)
class Bottle:
    """A standard at hand: its key in the published table, or LABEL with what its label says (at `value_c`, where it is a conductivity, with
    the fraction it rises for each kelvin); how good it is to; how warm it is; its lot in the book or its code, how much was poured."""

    key: str
    temperature_c: float | None = None
    value: float | None = None
    value_c: float = 25.0
    per_kelvin: float = standards.PER_KELVIN
    good_to: float | None = None
    lot: Lot | None = None
    code: str = ""
    used: float | None = None


def _measure(procedure: Procedure) -> Measure:
    if procedure.measure is None:
        raise NotCalibrated(_("A pump is calibrated by volume."))
    return procedure.measure


def value_of(bottle: Bottle, *, parameter: str) -> float:
    """What a bottle is worth now, canonical unit. Raises NotCalibrated."""
    try:
        if parameter in ("conductivity", "salinity"):
            return _cell_value(bottle, parameter)
        if bottle.key == standards.LABEL:
            return _label(bottle)
        if bottle.key not in {known.key for known in standards.standards_for(parameter)}:
            raise NotCalibrated(_("Choose one of the list."))
        return standards.value_at(key=bottle.key, temperature_c=_warmth(bottle))
    except OutOfRange as wrong:
        raise NotCalibrated(str(wrong)) from wrong


def _cell_value(bottle: Bottle, parameter: str) -> float:
    """The conductivity of a bottle at its temperature; for a meter of salinity the salinity that belongs to it, or the label's own."""
    warm = _warmth(bottle)
    if bottle.key == standards.LABEL and parameter == "salinity":
        return _label(bottle)
    if bottle.key in (standards.LABEL, standards.LABEL_MS_CM):
        here = standards.conductivity_at(
            value=_label(bottle), value_c=bottle.value_c, temperature_c=warm, per_kelvin=bottle.per_kelvin
        )
    elif bottle.key in {known.key for known in standards.standards_for("conductivity")}:
        here = standards.value_at(key=bottle.key, temperature_c=warm)
    else:
        raise NotCalibrated(_("Choose one of the list."))
    if parameter == "conductivity":
        return here
    return standards.salinity_of(conductivity_ms_cm=here, temperature_c=warm)


def _label(bottle: Bottle) -> float:
    if bottle.value is None:
        raise NotCalibrated(_("Say what its label says it is worth."))
    return bottle.value


def _warmth(bottle: Bottle) -> float:
    if bottle.temperature_c is None:
        raise NotCalibrated(_("Say how warm it is."))
    return bottle.temperature_c


def _good_to(bottle: Bottle, value: float, parameter: str) -> float:
    """± of the standard: as stated, else as is usual of its kind; one of another kind says it."""
    if bottle.good_to is not None and bottle.key == standards.LABEL_MS_CM:
        return (
            abs(value) * bottle.good_to / abs(_label(bottle))
        )  # near enough: salinity moves almost as conductivity does
    if bottle.good_to is not None:
        return bottle.good_to
    if parameter == "ph":
        return standards.BUFFER_GOOD_TO
    if parameter in ("conductivity", "salinity"):
        return standards.SOLUTION_GOOD_TO * abs(value)
    raise NotCalibrated(_("Say how good the standard is: ± so much."))


def _name(bottle: Bottle, value: float, parameter: str) -> str:
    known = standards.standards().get(bottle.key)
    return known.name if known else f"{value:g} {units.unit_word(units.parameter(parameter).unit)}".strip()


def bottle_data(bottle: Bottle, measure: Measure, at: datetime) -> dict[str, Any]:
    """A bottle as a step keeps it. Raises NotCalibrated: an expired lot, no value, a nonsensical ±."""
    checked_lot(bottle.lot, at)
    parameter = measure.parameter
    value = compensated(measure, bottle, value_of(bottle, parameter=parameter))
    try:
        u = rectangular_u(_good_to(bottle, value, parameter))
    except NotPropagated as wrong:
        raise NotCalibrated(str(wrong)) from wrong
    name = _name(bottle, value, parameter)
    warm = bottle.temperature_c
    said = {"label": bottle.value, "good_to": bottle.good_to, "code": bottle.code}
    return {"against": "standard", "standard": bottle.key, "name": name, "temperature_c": warm, "reference": value, "u": u, **said}  # fmt: skip


def compensated(measure: Measure, bottle: Bottle, value: float) -> float:
    """What a meter should show of a conductivity: as at the temperature to which it brings its values, where it does."""
    method = measure.method
    if measure.parameter != "conductivity" or not method.compensates or method.reference_c is None:
        return value
    if bottle.key != standards.LABEL:
        return standards.value_at(key=bottle.key, temperature_c=method.reference_c)
    return standards.conductivity_at(
        value=value, value_c=_warmth(bottle), temperature_c=method.reference_c, per_kelvin=bottle.per_kelvin
    )


def steady(procedure: Procedure, shown: float, minute_before: float | None) -> None:
    """Raises NotCalibrated where it moved more within the last minute than what has settled does."""
    moves = suits_of(procedure).moves(shown)
    if minute_before is not None and moves and abs(shown - minute_before) > moves * (1 + 1e-9):
        words = _(
            "It still moves: %(far)s within a minute, at most %(most)s is settled. Wait, then read it again."
        )
        raise NotCalibrated(words % {"far": f"{abs(shown - minute_before):.3g}", "most": f"{moves:.3g}"})


@transaction.atomic
def buffer_read(
    *,
    procedure: Procedure,
    step: str,
    bottle: Bottle,
    shown: float,
    mv: float | None,
    minute_before: float | None,
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """The electrode stands in a buffer: what it shows, and its voltage (mV) where that is known."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, step)
    measure = _measure(row)
    steady(row, shown, minute_before)
    if bottle.temperature_c is None:
        raise NotCalibrated(_("Say how warm it is."))
    data = bottle_data(bottle, measure, at) | {"shown": shown, "mv": mv}
    kept = kept_steps(row)
    if step == "second":
        try:
            check_apart(kept["first"].data["reference"], data["reference"])
        except NoSlope as wrong:
            raise NotCalibrated(str(wrong)) from wrong
    words = _("%(name)s, worth %(true)s: it showed %(shown)s.") % {
        "name": data["name"],
        "true": f"{data['reference']:.2f}",
        "shown": f"{shown:.2f}",
    }
    done = add_step(row, step, by=by, at=at, origin=origin, words=words, data=data, lot=bottle.lot)
    use_up(done, bottle.used)
    return done


@transaction.atomic
def standard_taken(
    *, procedure: Procedure, step: str, bottle: Bottle, by: User, at: datetime, origin: UUID
) -> ProcedureStep:
    """A standard is poured; what the device shows of it comes next. While it is measured, values are not of the tank."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, step)
    data = bottle_data(bottle, _measure(row), at)
    if row.away_from is None:
        row.away_from = at
        row.save(update_fields=["away_from"])
    words = _("A standard: %(name)s.") % {"name": data["name"]}
    done = add_step(row, step, by=by, at=at, origin=origin, words=words, data=data, lot=bottle.lot)
    use_up(done, bottle.used)
    return done


def by_hand(
    measure: Measure, method: Method, results: Sequence[float], *, by: User, at: datetime, origin: UUID
) -> Reference:
    """Tests by hand of the tank's water, kept as readings, as one reference value. Raises NotCalibrated where they say nothing of this
    instrument: another parameter, results that disagree, its own reagent."""
    if method.parameter != measure.parameter:
        raise NotCalibrated(_("That way of testing tests something else."))
    if not results:
        raise NotCalibrated(_("Test by hand first: one result or more."))
    found = reference_value([Replicate(value, spec_of(method)) for value in results])
    if not found.agree:
        raise NotCalibrated(_("Your results lie too far apart among themselves. Test again."))
    own = measured_by(measure).lot
    if own is not None and found.sole_lot == own:
        raise NotCalibrated(
            _(
                "That test draws on the instrument's own reagent: what is wrong with it is in both. Take another, or a standard."
            )
        )
    for seq, value in enumerate(results):
        stored = water.record_reading(
            tank=measure.instrument.tank, parameter=measure.parameter, method=method, source=water.by_hand(), at=at,
            entered=f"{value:g}", unit=units.parameter(measure.parameter).unit, by=by, origin=origin, part=seq, seq=seq, received_at=at,
        )  # fmt: skip
        if isinstance(stored, HeldReading):
            raise NotCalibrated(stored.reason)
    return found


@transaction.atomic
def hand_taken(
    *,
    procedure: Procedure,
    method: Method,
    results: Sequence[float],
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """The tank was tested by hand: that is taken for the truth, with its uncertainty."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "reference")
    found = by_hand(_measure(row), method, results, by=by, at=at, origin=origin)
    name = _("%(method)s, by hand") % {"method": method.name}
    data = {"against": "hand", "name": name, "reference": found.value, "u": found.u, "results": list(results)}
    words = _("Tested by hand: %(value)s ± %(wide)s.") % {
        "value": f"{found.value:.4g}",
        "wide": f"{found.expanded:.2g}",
    }
    return add_step(row, "reference", by=by, at=at, origin=origin, words=words, data=data)


@transaction.atomic
def shown_read(
    *,
    procedure: Procedure,
    values: Sequence[float],
    minute_before: float | None,
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """What the device shows of what is known: one value or more."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "shown")
    try:
        found = bench.mean_of(values)
    except bench.NoSetting as wrong:
        raise NotCalibrated(str(wrong)) from wrong
    steady(row, values[-1], minute_before)
    words = _("It showed %(values)s.") % {"values": ", ".join(f"{value:.4g}" for value in values)}
    data = {"values": list(values), "mean": found.value}
    return add_step(row, "shown", by=by, at=at, origin=origin, words=words, data=data)


@transaction.atomic
def point_read(
    *,
    procedure: Procedure,
    step: str,
    true: float,
    good_to: float,
    volts: float,
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """One point of an analogue line: the true value, ± so much, and the volts that arrive."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, step)
    measure = _measure(row)
    try:
        u, shown = rectangular_u(good_to), old_line(measure).at(volts)
        if step == "high":
            low = kept_steps(row)["low"].data
            bench.line_of((low["volts"], low["reference"]), (volts, true))
    except (NotPropagated, bench.NoSetting) as wrong:
        raise NotCalibrated(str(wrong)) from wrong
    name = f"{true:g} {units.unit_word(units.parameter(measure.parameter).unit)}".strip()
    words = _("%(name)s at %(volts)s V.") % {"name": name, "volts": f"{volts:g}"}
    data = {"name": name, "reference": true, "u": u, "volts": volts, "shown": shown}
    return add_step(row, step, by=by, at=at, origin=origin, words=words, data=data)


@transaction.atomic
def pump_run(
    *,
    procedure: Procedure,
    asked: float,
    caught: Sequence[float],
    good_to: float,
    by: User,
    at: datetime,
    origin: UUID,
) -> ProcedureStep:
    """A channel was told to give `asked` mL, and so many were caught, each read to ± so much."""
    if (before := done_before(origin)) is not None:
        return before
    row = opened(procedure, "run")
    if not 0 < asked < 1e6 or not caught or not all(0 < ml < 1e6 for ml in caught) or not 0 <= good_to < 1e6:
        raise NotCalibrated(_("Say how many mL it was told to give, and how many came: above nought."))
    words = _("Told %(asked)s mL, caught %(caught)s mL.") % {
        "asked": f"{asked:g}",
        "caught": ", ".join(f"{ml:g}" for ml in caught),
    }
    data = {"asked": asked, "caught": list(caught), "good_to": good_to}
    return add_step(row, "run", by=by, at=at, origin=origin, words=words, data=data)
