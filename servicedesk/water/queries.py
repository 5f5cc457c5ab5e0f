"""Reading what is known about the water: values as corrected, bands, tests."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, When

from clients.choices import WaterType
from clients.models import Tank
from servicedesk.core.advice.sheet import MARINE
from servicedesk.core.metrology.uncertainty import MethodSpec
from servicedesk.dispatch.queries import standing
from servicedesk.water.choices import Flag, SourceKind, WaterKind
from servicedesk.water.models import (
    HELD,
    Band,
    ChangeWater,
    Correction,
    Method,
    Reading,
    Series,
    TankTest,
    WaterChange,
)
from servicedesk.web.memo import once
from servicedesk.web.prepared import KEY, KEYS, MOMENT, NUMBERS, WORD, Slot, prepared

DOUBTFUL = Flag.TIME_DOUBTFUL | Flag.IMPLAUSIBLE


def spec_of(method: Method) -> MethodSpec:
    """A method as the core computes with it. Methods that draw on one reagent share what is wrong with it."""
    return MethodSpec(
        name=method.name,
        kind=method.kind,
        tolerance_abs=method.tolerance_abs,
        tolerance_rel=method.tolerance_rel,
        resolution=method.resolution,
        lot=str(method.reagent_id) if method.reagent_id else None,
    )


@dataclass(frozen=True)
class ReadingValue:
    """One value as it stands now: corrected where it was corrected, in the parameter's canonical unit."""

    reading_id: int
    tank_id: UUID
    parameter: str
    at: datetime
    seq: int
    value: float
    series_id: int
    method_id: UUID
    method_name: str
    kind: str
    source_kind: str
    equipment_id: UUID | None
    flags: int
    entered: str
    entered_unit: str
    corrected: bool
    origin: UUID


# What makes a ReadingValue, in its order.
FIELDS = (
    "pk",
    "series__tank_id",
    "series__parameter",
    "at",
    "seq",
    "value",
    "series_id",
    "series__method_id",
    "series__method__name",
    "series__method__kind",
    "series__source__kind",
    "series__source__equipment_id",
    "flags",
    "entered",
    "entered_unit",
    "origin",
)
AT_KEY, AT_VALUE = FIELDS.index("pk"), FIELDS.index("value")


def standing_readings(tanks: Iterable[Tank]) -> QuerySet[Reading]:
    """Readings of these tanks that were not withdrawn."""
    keys = [t.pk for t in tanks]
    rows = Reading.objects.filter(series__tank__in=keys)
    withdrawn = [key for key, new in _corrections(keys).items() if new is None]
    return rows.exclude(pk__in=withdrawn) if withdrawn else rows


@prepared(tanks=KEYS)
def _corrected(tanks: Slot) -> QuerySet[Correction, tuple[int, float | None]]:
    rows = Correction.objects.filter(reading__series__tank__in=tanks).order_by("number")
    return rows.values_list("reading", "new")


def _corrections(tanks: list[UUID]) -> dict[int, float | None]:
    """What counts in place of each corrected reading of these tanks; None where it was withdrawn. Asked once a page."""

    def find() -> dict[int, float | None]:
        return dict(_corrected(tanks=tanks))

    return once(f"corrections {tanks}", find)


def _values(rows: Iterable[tuple[Any, ...]], corrections: dict[int, float | None]) -> list[ReadingValue]:
    """Readings as they stand: the corrected value where there is one, and nothing of those withdrawn."""
    out = []
    for *known, origin in rows:
        corrected = known[AT_KEY] in corrections
        if corrected:
            known[AT_VALUE] = corrections[known[AT_KEY]]
        if known[AT_VALUE] is not None:
            fields: list[Any] = [*known, corrected, origin]
            out.append(ReadingValue(*fields))
    return out


def _certain(rows: QuerySet[Reading]) -> QuerySet[Reading]:
    """Without those whose time or size is in doubt."""
    return rows.alias(bad=F("flags").bitand(int(DOUBTFUL))).filter(bad=0)


@prepared(tank=KEY, parameter=WORD, since=MOMENT, until=MOMENT, source=WORD, doubtful=WORD)
def _readings(
    tank: Slot,
    parameter: Slot | None = None,
    since: Slot | None = None,
    until: Slot | None = None,
    source: Slot | None = None,
    doubtful: Slot | None = None,
) -> QuerySet[Reading, tuple[Any, ...]]:
    asked = {
        "series__tank": tank,
        "series__parameter": parameter,
        "series__source__kind": source,
        "at__gte": since,
        "at__lte": until,
    }
    rows = Reading.objects.filter(**{name: value for name, value in asked.items() if value is not None})
    rows = _certain(rows) if doubtful is None else rows  # asked for or not: its value goes nowhere
    return rows.order_by("at", "seq", "pk").values_list(*FIELDS)


def readings_of(
    tank: Tank,
    *,
    parameter: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    doubtful: bool = False,
    by_hand: bool = False,
) -> list[ReadingValue]:
    """Values of a tank in order of time. Withdrawn ones never; those of doubtful time or size only on request;
    `by_hand` leaves instruments out."""
    rows = _readings(
        tank=tank.pk,
        parameter=parameter,
        since=since,
        until=until,
        source=SourceKind.HAND if by_hand else None,
        doubtful="yes" if doubtful else None,
    )
    return _values(rows, _corrections([tank.pk]))


@prepared(tanks=KEYS, until=MOMENT, withdrawn=NUMBERS)
def _latest(
    tanks: Slot, until: Slot | None = None, withdrawn: Slot | None = None
) -> QuerySet[Reading, tuple[Any, ...]]:
    rows = _certain(Reading.objects.filter(series=OuterRef("pk")))
    if withdrawn is not None:
        rows = rows.exclude(pk__in=withdrawn)
    if until is not None:
        rows = rows.filter(at__lte=until)
    newest = Subquery(rows.order_by("-at", "seq").values("pk")[:1])
    last = Series.objects.filter(tank__in=tanks).annotate(last=newest).values("last")
    return Reading.objects.filter(pk__in=last).order_by("at", "pk").values_list(*FIELDS)


def latest_of_series(tanks: Iterable[Tank], *, until: datetime | None = None) -> list[ReadingValue]:
    """The newest value of every series of these tanks that was not withdrawn and whose time and size are not in doubt,
    in order of time: one look-up per series, not per reading."""
    keys = [t.pk for t in tanks]
    corrections = _corrections(keys)
    withdrawn = [key for key, new in corrections.items() if new is None]
    return _values(_latest(tanks=keys, until=until, withdrawn=withdrawn or None), corrections)


@dataclass(frozen=True)
class Fresh:
    """When a tank was last tested by hand, when its instruments were last heard, and when each parameter was measured."""

    by_hand: datetime | None
    by_instrument: datetime | None
    measured: dict[str, datetime]


@prepared(tanks=KEYS)
def _last_heard(tanks: Slot) -> QuerySet[Series, tuple[Any, ...]]:
    times = Reading.objects.filter(series=OuterRef("pk")).order_by("-at").values("at")[:1]
    series = Series.objects.filter(tank__in=tanks).annotate(last=Subquery(times))
    return series.values_list("tank", "source__kind", "parameter", "last")


@prepared(tanks=KEYS)
def _usual(tanks: Slot) -> QuerySet[TankTest, tuple[UUID, str, int]]:
    rows = TankTest.objects.filter(tank__in=tanks).order_by("order", "pk")
    return rows.values_list("tank", "parameter", "every_days")


def fresh_of(tanks: Iterable[Tank]) -> dict[UUID, Fresh]:
    """How fresh what is known of each tank is: one look-up per series, not per reading."""
    keys = [t.pk for t in tanks]
    kinds: dict[UUID, dict[str, datetime]] = {key: {} for key in keys}
    measured: dict[UUID, dict[str, datetime]] = {key: {} for key in keys}
    for tank, kind, parameter, at in _last_heard(tanks=keys):
        if at is not None:
            for named, found in ((kind, kinds[tank]), (parameter, measured[tank])):
                found[named] = max(found.get(named, at), at)
    return {
        key: Fresh(kinds[key].get(SourceKind.HAND), kinds[key].get(SourceKind.EQUIPMENT), measured[key])
        for key in keys
    }


def usual_tests(tanks: Iterable[Tank]) -> dict[UUID, dict[str, int]]:
    """What is tested at each tank and every how many days, in the order of testing."""
    found: dict[UUID, dict[str, int]] = {}
    for tank, parameter, days in _usual(tanks=[t.pk for t in tanks]):
        found.setdefault(tank, {})[parameter] = days
    return found


def latest_values(
    tanks: Iterable[Tank], *, until: datetime | None = None
) -> dict[tuple[UUID, str], ReadingValue]:
    """The newest believable value per tank and parameter."""
    return {(value.tank_id, value.parameter): value for value in latest_of_series(tanks, until=until)}


@prepared(tank=KEY)
def _bands(tank: Slot) -> QuerySet[Band]:
    return Band.objects.filter(tank=tank).order_by("parameter")


@prepared(tank=KEY)
def _tests(tank: Slot) -> QuerySet[TankTest]:
    rows = TankTest.objects.filter(tank=tank).select_related("method", "method__reagent")
    return rows.order_by("order", "pk")


@prepared(tank=KEY, since=MOMENT)
def _changes(tank: Slot, since: Slot) -> QuerySet[WaterChange]:
    return standing(WaterChange.objects.filter(tank=tank, at__gte=since)).order_by("at", "pk")


def bands_of(tank: Tank) -> dict[str, Band]:
    """Bands of a tank by parameter."""
    return {band.parameter: band for band in _bands(tank=tank.pk)}


def tests_of(tank: Tank) -> list[TankTest]:
    """The tests of a tank in the order people make them, each with its usual method."""
    return _tests(tank=tank.pk)


def water_changes_of(tank: Tank, since: datetime) -> list[WaterChange]:
    """Water changes of a tank since then, in order of time."""
    return _changes(tank=tank.pk, since=since)


@dataclass(frozen=True)
class WaterIn:
    """The water that goes in at a change: its name, when it was tested (None: never), and what it holds by parameter,
    canonical units; what nobody tested is missing."""

    name: str
    tested_on: date | None
    holds: dict[str, float]


USUAL_MIX = {"salinity": 35.0, "alkalinity": 8.0, "calcium": 420.0, "magnesium": 1300.0, "nitrate": 0.0}
"""What a salt mix is made to hold where nobody wrote down what ours does (common practice). Of fresh water nothing is
known before it was tested."""


def is_marine(tank: Tank) -> bool:
    return tank.water_type in MARINE


def is_salt(tank: Tank) -> bool:
    """Whether its water holds sea salt: marine and brackish."""
    return is_marine(tank) or tank.water_type == WaterType.BRACKISH


@prepared(tank=KEY, kind=WORD)
def _water(tank: Slot, kind: Slot) -> QuerySet[ChangeWater]:
    own = Q(tanks__tank=tank)
    rows = ChangeWater.objects.filter(own | Q(usual=True, kind=kind, retired_on__isnull=True))
    return rows.annotate(own=Case(When(own, then=1), default=0)).order_by("-own", "pk")[:1]


def water_for(tank: Tank) -> WaterIn:
    """What a tank gets at a change: the water it names, else the usual one of its kind."""
    kind = WaterKind.SALT if is_marine(tank) else WaterKind.FRESH
    row = _water.first(tank=tank.pk, kind=kind)
    if row is None:
        return WaterIn("", None, dict(USUAL_MIX) if kind == WaterKind.SALT else {})
    held = {parameter: getattr(row, column) for parameter, column in HELD.items()}
    return WaterIn(row.name, row.tested_on, {p: value for p, value in held.items() if value is not None})
