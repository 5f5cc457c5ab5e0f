"""Tests by hand beside what an instrument showed then."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from servicedesk.core.metrology.uncertainty import Reference, Replicate, reference_value
from servicedesk.dispatch.queries import standing
from servicedesk.instruments.models import Calibration, Measure, ReagentLoad
from servicedesk.instruments.queries.mixing import Mixing, counted_around, mixing_of
from servicedesk.water.models import Method, Reading
from servicedesk.water.queries import ReadingValue, readings_of, spec_of
from servicedesk.web.prepared import KEY, MOMENT, WORD, Slot, prepared

TOGETHER = timedelta(hours=3)
"""Results of one visit (common practice)."""
PAIR, PAIR_OF_SWINGING = timedelta(days=2), timedelta(hours=1)
FULL = 3
SWINGS = frozenset({"ph", "temperature", "dissolved_oxygen", "carbon_dioxide"})
"""How near in time a test by hand and an instrument are comparable: what swings by day and night only within like hours (common practice)."""


@dataclass(frozen=True)
class Beside:
    """A test by hand (its results as one) and what the instrument showed around it; where they came from."""

    at: datetime
    reference: Reference
    shown: float
    shown_at: datetime
    hand: ReadingValue

    @property
    def difference(self) -> float:
        """Shown less tested by hand."""
        return self.shown - self.reference.value


@prepared(equipment=KEY, parameter=WORD, first=MOMENT, last=MOMENT)
def _before(equipment: Slot, parameter: Slot, first: Slot, last: Slot) -> QuerySet[Reading, tuple[Any, ...]]:
    rows = Reading.objects.filter(
        series__source__equipment=equipment, series__parameter=parameter, at__gte=first, at__lte=last
    )
    return rows.order_by("-at", "pk").values_list("pk", "at", "value")[:2]


@prepared(equipment=KEY, parameter=WORD, first=MOMENT, last=MOMENT)
def _after(equipment: Slot, parameter: Slot, first: Slot, last: Slot) -> QuerySet[Reading, tuple[Any, ...]]:
    rows = Reading.objects.filter(
        series__source__equipment=equipment, series__parameter=parameter, at__gt=first, at__lte=last
    )
    return rows.order_by("at", "pk").values_list("pk", "at", "value")[:1]


def _shown(
    measure: Measure, at: datetime, since: datetime, until: datetime, mixing: Mixing
) -> tuple[datetime, float] | None:
    """What the instrument showed around a moment: the middle of the two values before it and the one after, as far as there are any; the time
    is that of the nearest."""
    apart = PAIR_OF_SWINGING if measure.parameter in SWINGS else PAIR
    asked = {"equipment": measure.instrument.equipment_id, "parameter": measure.parameter}
    first, last = max(at - apart, since), min(at + apart, until)
    if mixing.within:
        rows = counted_around(measure, at, first, last, mixing)
    else:
        rows = [*_before(**asked, first=first, last=min(at, until)), *_after(**asked, first=at, last=last)]
    if not rows:
        return None
    nearest = min(rows, key=lambda row: abs(row[1] - at))
    values = [row[2] for row in rows]
    return nearest[1], median(values) if len(values) == FULL else nearest[2]


def begun_at(measure: Measure, at: datetime) -> datetime | None:
    """When it was last calibrated or filled: what was before tells nothing of it now."""
    done = (
        standing(Calibration.objects.filter(measure=measure, at__lte=at))
        .order_by("-at")
        .values_list("at", flat=True)
    )
    filled = (
        standing(ReagentLoad.objects.filter(measure=measure, at__lte=at))
        .order_by("-at")
        .values_list("at", flat=True)
    )
    times = [*done[:1], *filled[:1]]
    return max(times, default=None)


def last_pairs(measure: Measure, *, since: datetime, until: datetime, most: int) -> list[Beside]:
    """The last pairs of a measure in that time, oldest first, at most so many: replicates of one visit together."""
    hand = readings_of(
        measure.instrument.tank, parameter=measure.parameter, since=since, until=until, by_hand=True
    )
    return pairs_among(measure, hand, since=since, until=until, most=most)


def pairs_among(
    measure: Measure,
    hand: list[ReadingValue],
    *,
    since: datetime,
    until: datetime,
    most: int,
    mixing: Mixing | None = None,
) -> list[Beside]:
    """The same from tests by hand of its parameter that were read already; and `mixing`, where doses were."""
    mixing = mixing or mixing_of(measure.instrument.tank, [measure], since=since, until=until)
    groups = together([row for row in hand if since <= row.at <= until])
    names = {row.method_id for group in groups for row in group}
    methods: dict[UUID, Method] = Method.objects.in_bulk(names) if names else {}
    found: list[Beside] = []
    for group in reversed(groups):
        if len(found) == most:
            break
        shown = _shown(measure, group[-1].at, since, until, mixing)
        if shown is None:
            continue
        results = [Replicate(row.value, spec_of(methods[row.method_id])) for row in group]
        found.append(Beside(group[-1].at, reference_value(results), shown[1], shown[0], group[-1]))
    return found[::-1]


def together(rows: list[ReadingValue]) -> list[list[ReadingValue]]:
    """Results by hand of one visit each, in order of time."""
    groups: list[list[ReadingValue]] = []
    for row in rows:
        if not groups or row.at - groups[-1][0].at > TOGETHER:
            groups.append([])
        groups[-1].append(row)
    return groups
