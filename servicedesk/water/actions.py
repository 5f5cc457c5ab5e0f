"""Taking in what is measured of the water, correcting it by addition, and giving a tank its bands and tests."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from clients.models import Equipment, Tank
from servicedesk.core import units
from servicedesk.core.tables import read_csv
from servicedesk.staff.models import User
from servicedesk.water.choices import SourceKind
from servicedesk.water.models import (
    Band,
    Correction,
    HeldReading,
    Method,
    Reading,
    Series,
    Source,
    TankTest,
    Touched,
    WaterChange,
)


class NotWater(Exception):
    """A value, a unit or an amount that cannot be; the sentence says why."""


def by_hand() -> Source:
    """The one source of readings taken by people."""
    return Source.objects.get_or_create(kind=SourceKind.HAND)[0]


def source_of(equipment: Equipment) -> Source:
    """The source of readings sent by a piece of equipment."""
    return Source.objects.get_or_create(kind=SourceKind.EQUIPMENT, equipment=equipment)[0]


def touch(*, tank: Tank, at: datetime) -> None:
    """Say that a tank has news since then (the sweep claims it). The earliest time stands."""
    made = Touched.objects.get_or_create(tank=tank, defaults={"since": at})[1]
    if not made:
        Touched.objects.filter(tank=tank, since__gt=at).update(since=at)


def _hold(*, tank: Tank, source: Source, parameter: str, reason: str, **rest: Any) -> HeldReading:
    origin, part = rest.pop("origin"), rest.pop("part")
    row, _made = HeldReading.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "tank": tank,
            "equipment": source.equipment,
            "parameter": parameter,
            "reason": reason,
            **rest,
        },
    )
    return row


def _same_or_hold(existing: Reading, value: float, held: dict[str, Any]) -> Reading | HeldReading:
    if existing.value == value:
        return existing
    return _hold(reason="Another value is already stored for this moment.", **held)


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
) -> Reading | HeldReading:
    """Store one measured value, as typed and in the parameter's canonical unit.

    An extreme value is stored: only what physically cannot be, and a second value for the same moment, is held
    apart with its reason. The same (origin, part) again gives the same row. Raises NotWater for a text that is no
    number, an unknown unit or parameter."""
    before = Reading.objects.filter(origin=origin, part=part).first()
    if before is not None:
        return before
    try:
        known = units.parameter(parameter)
        value = units.to_canonical(parameter=parameter, value=units.parse_typed(entered), unit=unit)
    except (units.TypedWrong, units.UnknownUnit, units.NeedsContext, KeyError) as wrong:
        raise NotWater(str(wrong)) from wrong
    held: dict[str, Any] = {
        "tank": tank,
        "source": source,
        "parameter": parameter,
        "at": at,
        "entered": entered,
        "entered_unit": unit,
        "origin": origin,
        "part": part,
        "received_at": received_at,
    }
    low, high = known.physical_low, known.physical_high
    if (low is not None and value < low) or (high is not None and value > high):
        reason = f"{entered} {unit} cannot be: {parameter} lies between {low:g} and {high:g} {known.unit}."
        return _hold(reason=reason, **held)
    series = Series.objects.get_or_create(tank=tank, parameter=parameter, source=source, method=method)[0]
    existing = Reading.objects.filter(series=series, at=at, seq=seq).first()
    if existing is not None:
        return _same_or_hold(existing, value, held)
    try:
        with transaction.atomic():
            row = Reading.objects.create(
                series=series,
                at=at,
                seq=seq,
                value=value,
                entered=entered,
                entered_unit=unit,
                flags=flags,
                by=by,
                origin=origin,
                part=part,
                received_at=received_at,
            )
    except IntegrityError:
        existing = Reading.objects.filter(series=series, at=at, seq=seq).first()
        if existing is None:
            raise
        return _same_or_hold(existing, value, held)
    touch(tank=tank, at=at)
    return row


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
    itself stays as it was."""
    before = Correction.objects.filter(origin=origin, part=part).first()
    if before is not None:
        return before
    if not why.strip():
        raise NotWater("Say why the value is corrected.")
    reading = Reading.objects.select_for_update().select_related("series__tank").get(pk=reading.pk)
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


@transaction.atomic
def record_water_change(
    *,
    tank: Tank,
    litres: float,
    at: datetime,
    by: User | None,
    origin: UUID,
    part: int = 0,
    received_at: datetime,
    salinity: float | None = None,
    temperature_c: float | None = None,
) -> WaterChange:
    """So many litres were replaced. More than the tank's gross volume is refused in words."""
    if not 0 < litres <= 10 * tank.gross_l:
        raise NotWater(f"{litres:g} L cannot be: say how much water was replaced.")
    row, made = WaterChange.objects.get_or_create(
        origin=origin,
        part=part,
        defaults={
            "tank": tank,
            "litres": litres,
            "at": at,
            "by": by,
            "salinity": salinity,
            "temperature_c": temperature_c,
            "received_at": received_at,
        },
    )
    if made:
        touch(tank=tank, at=at)
    return row


def _number(text: str) -> float | None:
    return float(text) if text.strip() else None


@transaction.atomic
def set_default_bands(*, tank: Tank) -> list[Band]:
    """Give a tank the starting bands of its water type (core/tables/bands.csv: common practice). Bands it already
    has stay as they are."""
    made = []
    for row in read_csv("bands.csv"):
        if row["water_type"] != tank.water_type:
            continue
        parameter = units.parameter(row["parameter"])
        limits = {
            name: _number(row[name])
            for name in (
                "low",
                "target",
                "high",
                "alarm_low",
                "alarm_high",
                "max_rise_per_day",
                "max_fall_per_day",
            )
        }
        band, new = Band.objects.get_or_create(
            tank=tank, parameter=parameter.key, defaults={"unit": parameter.unit, **limits}
        )
        if new:
            made.append(band)
    return made


@transaction.atomic
def set_default_tests(*, tank: Tank) -> list[TankTest]:
    """Put every banded parameter that some method can test on the tank's list, in the usual order."""
    made = []
    methods: dict[str, Method] = {}
    for method in (
        Method.objects.filter(retired_on__isnull=True).exclude(kind="titrator").order_by("name", "pk")
    ):
        methods.setdefault(method.parameter, method)
    for band in Band.objects.filter(tank=tank):
        usual = methods.get(band.parameter)
        if usual is None:
            continue
        row, new = TankTest.objects.get_or_create(
            tank=tank,
            parameter=band.parameter,
            defaults={"method": usual, "order": units.parameter(band.parameter).order},
        )
        if new:
            made.append(row)
    return made
