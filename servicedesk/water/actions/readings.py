"""Taking in single values as they are measured, and correcting them by addition."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, connection, transaction

from clients.models import Equipment, Tank
from servicedesk.core import units
from servicedesk.core.chemistry import conversions
from servicedesk.core.chemistry.conversions import NOTHING, Context
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.staff.models import User
from servicedesk.water.choices import SourceKind
from servicedesk.water.models import Correction, HeldReading, Method, Reading, Series, Source, Touched


class NotWater(Exception):
    """A value, a unit or an amount that cannot be; the sentence says why."""


def by_hand() -> Source:
    """The one source of readings taken by people."""
    return Source.objects.get_or_create(kind=SourceKind.HAND)[0]


def source_of(equipment: Equipment) -> Source:
    """The source of readings sent by a piece of equipment."""
    return Source.objects.get_or_create(kind=SourceKind.EQUIPMENT, equipment=equipment)[0]


TOUCH = (
    "INSERT INTO water_touched (tank_id, since) VALUES (%s, %s) ON CONFLICT (tank_id) "
    "DO UPDATE SET since = excluded.since WHERE excluded.since < water_touched.since"
)
"""In one statement, on both databases alike."""


def touch(*, tank: Tank, at: datetime) -> None:
    """Say that a tank has news since then (the sweep claims it). The earliest time stands."""
    key: Any = Touched._meta.get_field("tank")
    since: Any = Touched._meta.get_field("since")
    with connection.cursor() as cursor:
        values = [key.get_db_prep_save(tank.pk, connection), since.get_db_prep_save(at, connection)]
        cursor.execute(TOUCH, values)


def _hold(row: Reading, *, tank: Tank, source: Source, parameter: str, reason: str) -> HeldReading:
    """Keep a reading apart with its reason."""
    return HeldReading.objects.get_or_create(
        origin=row.origin,
        part=row.part,
        defaults={
            "tank": tank,
            "equipment": source.equipment,
            "parameter": parameter,
            "at": row.at,
            "entered": row.entered,
            "entered_unit": row.entered_unit,
            "reason": reason,
            "received_at": row.received_at,
        },
    )[0]


@transaction.atomic
def record_reading(
    *,
    tank: Tank,
    parameter: str,
    method: Method,
    source: Source,
    at: datetime,
    entered: str,
    unit: str,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    seq: int = 0,
    flags: int = 0,
    context: Context = NOTHING,
) -> Reading | HeldReading:
    """Store one measured value, as typed and in the parameter's canonical unit.

    An extreme value is stored: only what physically cannot be, and a second value for the same moment, is held
    apart with its reason. `context` is what a conversion must know besides the number. The same (origin, part) again gives the same row. Raises NotWater for a text that is no
    number, an unknown unit or parameter."""
    before = Reading.objects.filter(origin=origin, part=part).first()
    if before is not None:
        return before
    value = canonical(parameter, entered, unit, context)
    row = Reading(at=at, seq=seq, value=value, entered=entered, entered_unit=unit, flags=flags)
    row.by, row.origin, row.part, row.received_at = by, origin, part, received_at
    reason = impossible(parameter, value, f"{entered} {unit}")
    if reason:
        return _hold(row, tank=tank, source=source, parameter=parameter, reason=reason)
    row.series = Series.objects.get_or_create(tank=tank, parameter=parameter, source=source, method=method)[0]
    stored = _store(row)
    if stored is row:
        touch(tank=tank, at=at)
    return stored


def canonical(parameter: str, entered: str, unit: str, context: Context = NOTHING) -> float:
    """What was entered, in the parameter's canonical unit. Raises NotWater in words."""
    try:
        typed = units.parse_typed(entered)
        return conversions.to_canonical(parameter=parameter, value=typed, unit=unit, context=context)
    except (units.TypedWrong, units.UnknownUnit, units.NeedsContext, OutOfRange, KeyError) as wrong:
        raise NotWater(str(wrong)) from wrong


def impossible(parameter: str, value: float, shown: str) -> str:
    """Why a value physically cannot be; nothing when it can."""
    known = units.parameter(parameter)
    if known.physical_low <= value <= known.physical_high:
        return ""
    return f"{shown} cannot be: {parameter} lies between {known.physical_low:g} and {known.physical_high:g} {known.unit}."


def _store(row: Reading) -> Reading | HeldReading:
    """Store a reading, or give the one that is there already for its moment, or hold a second value apart."""
    series = row.series
    there = Reading.objects.filter(series=series, at=row.at, seq=row.seq)
    existing = there.first()
    if existing is None:
        try:
            with transaction.atomic():
                row.save()
            return row
        except IntegrityError:
            existing = there.first()
            if existing is None:
                raise
    if existing.value == row.value:
        return existing
    reason = "Another value is already stored for this moment."
    return _hold(row, tank=series.tank, source=series.source, parameter=series.parameter, reason=reason)


@transaction.atomic
def correct_reading(
    *,
    reading: Reading,
    new: float | None,
    why: str,
    by: User,
    at: datetime,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
) -> Correction:
    """Say that a reading was wrong: the new value in the canonical unit, or None to withdraw it. The reading
    itself stays as it was. Raises NotWater without a reason, and for a value that physically cannot be."""
    before = Correction.objects.filter(origin=origin, part=part).first()
    if before is not None:
        return before
    if not why.strip():
        raise NotWater("Say why the value is corrected.")
    reading = Reading.objects.select_for_update().select_related("series__tank").get(pk=reading.pk)
    reason = "" if new is None else impossible(reading.series.parameter, new, f"{new:g}")
    if reason:
        raise NotWater(reason)
    last = reading.corrections.order_by("-number").first()
    old = reading.value if last is None or last.new is None else last.new
    row = Correction.objects.create(
        reading=reading,
        number=1 if last is None else last.number + 1,
        old=old,
        new=new,
        why=why,
        by=by,
        at=at,
        origin=origin,
        part=part,
        received_at=received_at,
    )
    touch(tank=reading.series.tank, at=reading.at)
    return row
