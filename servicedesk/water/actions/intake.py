"""Taking in many values of one source at once: each is stored, there already, or held apart with its reason; none stops another."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import OuterRef, QuerySet, Subquery

from clients.models import Tank
from servicedesk.core import units
from servicedesk.core.units import PARAMETERS
from servicedesk.staff.models import User
from servicedesk.water.actions.readings import impossible, touch
from servicedesk.water.models import HeldReading, Method, Reading, Series, Source
from servicedesk.web.bulk import Columns, Same, insert_all, insert_new
from servicedesk.web.prepared import KEY, MOMENT, NUMBER, NUMBERS, Slot, prepared

EVERYDAY, SHORT = 1e9, 12
ANOTHER = "Another value is already stored for this moment."
FEW = 20
"""So many values are simply offered to the database, which leaves out what is there; of more it is asked first, since storing is then quicker."""


class Incoming(NamedTuple):
    """One value as it came, in `unit`: `part` is its number in what brought it, `seq` the replicate, `flags` bits of choices.Flag."""

    part: int
    parameter: str
    method: Method
    at: datetime
    value: float
    unit: str
    flags: int = 0
    seq: int = 0


@dataclass
class Taken:
    """What became of each value, by its part."""

    stored: list[int] = field(default_factory=list)
    already: list[int] = field(default_factory=list)
    held: list[tuple[int, str]] = field(default_factory=list)


@dataclass(frozen=True)
class Apart:
    """A value that is held apart, and why. `at` is unknown where none could be read."""

    part: int
    parameter: str
    at: datetime | None
    entered: str
    unit: str
    reason: str


def hold_apart(
    *, tank: Tank, source: Source, rows: Sequence[Apart], origin: UUID, received_at: datetime
) -> None:
    """Keep values apart with their reasons; the same (origin, part) again changes nothing."""
    columns: Columns = {
        "id": [HeldReading.key_of(origin, row.part) for row in rows],
        "tank_id": Same(tank.pk),
        "equipment_id": Same(source.equipment_id),
        "parameter": [row.parameter for row in rows],
        "at": [row.at for row in rows],
        "entered": [row.entered[:40] for row in rows],
        "entered_unit": [row.unit[:20] for row in rows],
        "reason": [row.reason[:200] for row in rows],
        "origin": Same(origin),
        "part": [row.part for row in rows],
        "received_at": Same(received_at),
        "decision": Same(""),
        "decided_why": Same(""),
    }
    insert_new(HeldReading, columns, returning="part")


def text_of(value: float) -> str:
    """A number as it would be typed: without an exponent where it has one of everyday size."""
    short = repr(value)
    if len(short) <= SHORT and "e" not in short and "n" not in short:
        return short.removesuffix(".0")
    return f"{value:.9f}".rstrip("0").rstrip(".") if abs(value) < EVERYDAY else f"{value:g}"


def _turn(parameter: str, unit: str) -> tuple[float, float] | str:
    """Factor and offset from a unit to the canonical one, or why there is none."""
    try:
        return units.factor_of(parameter=parameter, unit=unit)
    except (units.UnknownUnit, units.NeedsContext, units.UnknownParameter) as wrong:
        return str(wrong)


@prepared(tank=KEY, source=NUMBER)
def _series(tank: Slot, source: Slot) -> QuerySet[Series, tuple[Any, ...]]:
    newest = Reading.objects.filter(series=OuterRef("pk")).order_by("-at").values("at")[:1]
    rows = Series.objects.filter(tank=tank, source=source).annotate(newest=Subquery(newest))
    return rows.values_list("pk", "parameter", "method", "newest")


@prepared(series=NUMBERS, first=MOMENT, last=MOMENT)
def _between(series: Slot, first: Slot, last: Slot) -> QuerySet[Reading, int]:
    rows = Reading.objects.filter(series__in=series, at__gte=first, at__lte=last)
    return rows.values_list("pk", flat=True)[:1]


class _Batch:
    def __init__(self, tank: Tank, source: Source, origin: UUID, received_at: datetime) -> None:
        self.tank, self.source, self.origin, self.received_at = tank, source, origin, received_at
        self.taken, self.apart = Taken(), list[Apart]()
        self.fresh: dict[tuple[int, datetime, int], tuple[Incoming, float]] = {}
        known = _series(tank=tank.pk, source=source.pk)
        self._series = {(name, method): pk for pk, name, method, _newest in known}
        self._newest = {pk: newest for pk, _name, _method, newest in known}
        self._by_method: dict[int, int] = {}
        self._turns: dict[tuple[str, str], tuple[float, float] | str] = {}

    def series_of(self, row: Incoming) -> int:
        found = self._by_method.get(id(row.method))  # rows are held as long as this batch: the ids stand
        if found is None:
            key = (row.parameter, row.method.pk)
            if key not in self._series:
                made, _new = Series.objects.get_or_create(
                    tank=self.tank, parameter=row.parameter, source=self.source, method=row.method
                )
                self._series[key] = made.pk
            found = self._by_method[id(row.method)] = self._series[key]
        return found

    def hold(self, row: Incoming, reason: str) -> None:
        self.apart.append(Apart(row.part, row.parameter, row.at, text_of(row.value), row.unit, reason))
        self.taken.held.append((row.part, reason))

    def sort(self, row: Incoming) -> None:
        """To what is new in this batch, or apart."""
        turn = self._turns.get((row.parameter, row.unit))
        if turn is None:
            turn = self._turns[row.parameter, row.unit] = _turn(row.parameter, row.unit)
        if isinstance(turn, str):
            return self.hold(row, turn)
        value = row.value * turn[0] + turn[1]
        known = PARAMETERS[row.parameter]
        if not known.physical_low <= value <= known.physical_high:  # also what is no number
            return self.hold(row, impossible(row.parameter, value, f"{text_of(row.value)} {row.unit}"))
        key = (self.series_of(row), row.at, row.seq)
        before = self.fresh.setdefault(key, (row, value))
        if before[0] is not row:
            self._beside(row, value, before[1])
        return None

    def _beside(self, row: Incoming, value: float, stored: float) -> None:
        """A value for a moment that has one."""
        if value == stored:
            self.taken.already.append(row.part)
        else:
            self.hold(row, ANOTHER)

    def _columns(self, by: User | None) -> Columns:
        series, times, replicates = zip(*self.fresh, strict=True)
        rows, values = zip(*self.fresh.values(), strict=True)
        units_sent = {row.unit for row in rows}
        return {
            "series_id": series,
            "at": times,
            "seq": replicates,
            "value": values,
            "entered": [text_of(row.value)[:20] for row in rows],
            "entered_unit": Same(rows[0].unit[:20])
            if len(units_sent) == 1
            else [row.unit[:20] for row in rows],
            "flags": [row.flags for row in rows],
            "by_id": Same(by.pk if by else None),
            "origin": Same(self.origin),
            "part": [row.part for row in rows],
            "received_at": Same(self.received_at),
        }

    def _untouched(self) -> bool:
        """Whether nothing of these series stands in this time yet: the usual case, and the quick one."""
        times = [at for _series, at, _seq in self.fresh]
        series = list({series for series, _at, _seq in self.fresh})
        first = min(times)
        if all((newest := self._newest.get(key)) is None or newest < first for key in series):
            return True
        return not _between(series=series, first=first, last=max(times))

    def store(self, by: User | None) -> None:
        """Insert what is new; what was there already is compared."""
        if not self.fresh:
            return
        columns = self._columns(by)
        if len(self.fresh) > FEW and self._untouched():
            try:
                with transaction.atomic():
                    insert_all(Reading, columns)
                self.taken.stored = sorted(row.part for row, _value in self.fresh.values())
                return
            except IntegrityError:  # somebody was quicker: look at each
                pass
        new = set(insert_new(Reading, columns, returning="part"))
        self.taken.stored = sorted(new)
        self._compare({key: both for key, both in self.fresh.items() if both[0].part not in new})

    def _compare(self, left: dict[tuple[int, datetime, int], tuple[Incoming, float]]) -> None:
        """What was there already: the same value, or another."""
        if not left:
            return
        rows = Reading.objects.filter(
            series__in={key[0] for key in left}, at__in={key[1] for key in left}
        ).values_list("series", "at", "seq", "value")
        there = {(series, at, seq): value for series, at, seq, value in rows}
        for key, (row, value) in left.items():
            self._beside(row, value, there.get(key, value))


@transaction.atomic(savepoint=False)
def take_in(
    *,
    tank: Tank,
    source: Source,
    rows: Sequence[Incoming],
    origin: UUID,
    received_at: datetime,
    by: User | None = None,
) -> Taken:
    """Store many values of one source: in the canonical unit, with what was sent beside it. What physically cannot be, an unknown unit,
    and a second value for the same moment are held apart with their reasons; the same again is there already."""
    batch = _Batch(tank, source, origin, received_at)
    for row in rows:
        batch.sort(row)
    batch.store(by)
    if batch.apart:
        hold_apart(tank=tank, source=source, rows=batch.apart, origin=origin, received_at=received_at)
    stored = set(batch.taken.stored)
    if stored:
        touch(tank=tank, at=min(row.at for row in rows if row.part in stored))
    return batch.taken
