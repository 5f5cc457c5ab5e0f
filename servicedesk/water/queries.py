"""Reading what is known about the water: values as corrected, bands, tests."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, When

from clients.models import Tank
from servicedesk.core.advice.sheet import MARINE
from servicedesk.dispatch.queries import standing
from servicedesk.water.choices import Flag, SourceKind, WaterKind
from servicedesk.water.models import (
    HELD,
    Band,
    ChangeWater,
    Correction,
    Reading,
    Series,
    TankTest,
    WaterChange,
)
from servicedesk.web.memo import once

DOUBTFUL = Flag.TIME_DOUBTFUL | Flag.IMPLAUSIBLE


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
KEY, VALUE = FIELDS.index("pk"), FIELDS.index("value")


def standing_readings(tanks: Iterable[Tank]) -> QuerySet[Reading]:
    """Readings of these tanks that were not withdrawn."""
    keys = [t.pk for t in tanks]
    rows = Reading.objects.filter(series__tank__in=keys)
    withdrawn = [key for key, new in _corrections(keys).items() if new is None]
    return rows.exclude(pk__in=withdrawn) if withdrawn else rows


def _corrections(tanks: list[UUID]) -> dict[int, float | None]:
    """What counts in place of each corrected reading of these tanks; None where it was withdrawn. Asked once a page."""

    def find() -> dict[int, float | None]:
        rows = Correction.objects.filter(reading__series__tank__in=tanks).order_by("number")
        return dict(rows.values_list("reading", "new"))

    return once(f"corrections {tanks}", find)


def _values(rows: QuerySet[Reading], corrections: dict[int, float | None]) -> list[ReadingValue]:
    """Readings as they stand: the corrected value where there is one, and nothing of those withdrawn."""
    out = []
    for *known, origin in rows.values_list(*FIELDS):
        corrected = known[KEY] in corrections
        if corrected:
            known[VALUE] = corrections[known[KEY]]
        if known[VALUE] is not None:
            fields: list[Any] = [*known, corrected, origin]
            out.append(ReadingValue(*fields))
    return out


def _certain(rows: QuerySet[Reading]) -> QuerySet[Reading]:
    """Without those whose time or size is in doubt."""
    return rows.alias(bad=F("flags").bitand(int(DOUBTFUL))).filter(bad=0)


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
    rows = Reading.objects.filter(series__tank=tank)
    if by_hand:
        rows = rows.filter(series__source__kind="hand")
    if parameter is not None:
        rows = rows.filter(series__parameter=parameter)
    if since is not None:
        rows = rows.filter(at__gte=since)
    if until is not None:
        rows = rows.filter(at__lte=until)
    if not doubtful:
        rows = _certain(rows)
    return _values(rows.order_by("at", "seq", "pk"), _corrections([tank.pk]))


def latest_of_series(tanks: Iterable[Tank], *, until: datetime | None = None) -> list[ReadingValue]:
    """The newest value of every series of these tanks that was not withdrawn and whose time and size are not in doubt,
    in order of time: one look-up per series, not per reading."""
    keys = [t.pk for t in tanks]
    corrections = _corrections(keys)
    rows = _certain(Reading.objects.filter(series=OuterRef("pk")))
    if withdrawn := [key for key, new in corrections.items() if new is None]:
        rows = rows.exclude(pk__in=withdrawn)
    if until is not None:
        rows = rows.filter(at__lte=until)
    newest = Subquery(rows.order_by("-at", "seq").values("pk")[:1])
    last = Series.objects.filter(tank__in=keys).annotate(last=newest).values("last")
    return _values(Reading.objects.filter(pk__in=last).order_by("at", "pk"), corrections)


@dataclass(frozen=True)
class Fresh:
    """When a tank was last tested by hand, when its instruments were last heard, and when each parameter was measured."""

    by_hand: datetime | None
    by_instrument: datetime | None
    measured: dict[str, datetime]


def fresh_of(tanks: Iterable[Tank]) -> dict[UUID, Fresh]:
    """How fresh what is known of each tank is: one look-up per series, not per reading."""
    times = Reading.objects.filter(series=OuterRef("pk")).order_by("-at").values("at")[:1]
    keys = [t.pk for t in tanks]
    series = Series.objects.filter(tank__in=keys).annotate(last=Subquery(times))
    kinds: dict[UUID, dict[str, datetime]] = {key: {} for key in keys}
    measured: dict[UUID, dict[str, datetime]] = {key: {} for key in keys}
    for tank, kind, parameter, at in series.values_list("tank", "source__kind", "parameter", "last"):
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
    rows = TankTest.objects.filter(tank__in=[t.pk for t in tanks]).order_by("order", "pk")
    for tank, parameter, days in rows.values_list("tank", "parameter", "every_days"):
        found.setdefault(tank, {})[parameter] = days
    return found


def latest_values(
    tanks: Iterable[Tank], *, until: datetime | None = None
) -> dict[tuple[UUID, str], ReadingValue]:
    """The newest believable value per tank and parameter."""
    return {(value.tank_id, value.parameter): value for value in latest_of_series(tanks, until=until)}


def bands_of(tank: Tank) -> dict[str, Band]:
    """Bands of a tank by parameter."""
    return {band.parameter: band for band in Band.objects.filter(tank=tank).order_by("parameter")}


def tests_of(tank: Tank) -> list[TankTest]:
    """The tests of a tank in the order people make them, each with its usual method."""
    return list(
        TankTest.objects.filter(tank=tank).select_related("method", "method__reagent").order_by("order", "pk")
    )


def water_changes_of(tank: Tank, since: datetime) -> list[WaterChange]:
    """Water changes of a tank since then, in order of time."""
    return list(standing(WaterChange.objects.filter(tank=tank, at__gte=since)).order_by("at", "pk"))


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


def water_for(tank: Tank) -> WaterIn:
    """What a tank gets at a change: the water it names, else the usual one of its kind."""
    kind = WaterKind.SALT if is_marine(tank) else WaterKind.FRESH
    own = Q(tanks__tank=tank)
    rows = ChangeWater.objects.filter(own | Q(usual=True, kind=kind, retired_on__isnull=True))
    row = rows.annotate(own=Case(When(own, then=1), default=0)).order_by("-own", "pk").first()
    if row is None:
        return WaterIn("", None, dict(USUAL_MIX) if kind == WaterKind.SALT else {})
    held = {parameter: getattr(row, column) for parameter, column in HELD.items()}
    return WaterIn(row.name, row.tested_on, {p: value for p, value in held.items() if value is not None})
