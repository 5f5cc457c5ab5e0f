"""Tests by hand beside what an instrument showed then."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from typing import Any
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery

from servicedesk.core.metrology.uncertainty import Reference, Replicate, reference_value
from servicedesk.dispatch.queries import standing
from servicedesk.instruments.models import Calibration, Measure, ReagentLoad
from servicedesk.instruments.queries.mixing import Mixing, counted_around, mixing_of
from servicedesk.water.models import Method, Reading, Series
from servicedesk.water.queries import ReadingValue, readings_of, spec_of
from servicedesk.web.prepared import KEY, NUMBER, NUMBERS, WORD, Slot, prepared

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


@prepared(equipment=KEY, parameter=WORD)
def _series(equipment: Slot, parameter: Slot) -> QuerySet[Series, int]:
    return Series.objects.filter(source__equipment=equipment, parameter=parameter).values_list(
        "pk", flat=True
    )


@prepared(hand=NUMBERS, series=NUMBER)
def _around(hand: Slot, series: Slot) -> QuerySet[Reading, tuple[Any, ...]]:
    """The two values of a series before each of these readings, and the one after: when and how much."""
    own = Reading.objects.filter(series=series)
    before = own.filter(at__lte=OuterRef("at")).order_by("-at", "pk")
    after = own.filter(at__gt=OuterRef("at")).order_by("at", "pk")
    places = {"last": before[:1], "second": before[1:2], "next": after[:1]}
    found = {
        f"{name}_{column}": Subquery(rows.values(column))
        for name, rows in places.items()
        for column in ("at", "value")
    }
    return Reading.objects.filter(pk__in=hand).annotate(**found).order_by().values_list("pk", *found)


Shown = tuple[datetime, float]


def _shown_around(measure: Measure, hand: list[ReadingValue]) -> dict[int, list[Shown]]:
    """What the instrument showed before and after each of these tests, however far away: all asked at once."""
    around: dict[int, list[Shown]] = {row.reading_id: [] for row in hand}
    asked = {"equipment": measure.instrument.equipment_id, "parameter": measure.parameter}
    for series in _series(**asked):
        for pk, *found in _around(hand=list(around), series=series):
            around[pk] += [(at, value) for at, value in zip(found[::2], found[1::2], strict=True) if at]
    return around


def _counted(measure: Measure, at: datetime, since: datetime, until: datetime, mixing: Mixing) -> list[Shown]:
    """The same of what counts only, where a dose may not have been mixed in yet."""
    apart = PAIR_OF_SWINGING if measure.parameter in SWINGS else PAIR
    rows = counted_around(measure, at, max(at - apart, since), min(at + apart, until), mixing)
    return [(moment, value) for _pk, moment, value in rows]


def _shown(
    measure: Measure, around: list[Shown], at: datetime, since: datetime, until: datetime
) -> Shown | None:
    """What the instrument showed around a moment: the middle of the two values before it and the one after, as far as there are any near
    enough; the time is that of the nearest."""
    apart = PAIR_OF_SWINGING if measure.parameter in SWINGS else PAIR
    near = [row for row in sorted(around) if max(at - apart, since) <= row[0] <= min(at + apart, until)]
    before, after = [row for row in near if row[0] <= at][-2:], [row for row in near if row[0] > at][:1]
    rows = [*before[::-1], *after]
    if not rows:
        return None
    nearest = min(rows, key=lambda row: abs(row[0] - at))
    values = [row[1] for row in rows]
    return nearest[0], median(values) if len(values) == FULL else nearest[1]


def begun_at(measure: Measure, at: datetime) -> datetime | None:
    """When it was last calibrated or filled: what was before tells nothing of it now. What was compared only is no beginning."""
    done = (
        standing(Calibration.objects.filter(measure=measure, at__lte=at).exclude(left_as_is=True))
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
    around = {} if mixing.within else _shown_around(measure, [group[-1] for group in groups])
    found: list[Beside] = []
    for group in reversed(groups):
        if len(found) == most:
            break
        last = group[-1]
        known = _counted(measure, last.at, since, until, mixing) if mixing.within else around[last.reading_id]
        shown = _shown(measure, known, last.at, since, until)
        if shown is None:
            continue
        results = [Replicate(row.value, spec_of(methods[row.method_id])) for row in group]
        found.append(Beside(last.at, reference_value(results), shown[1], shown[0], last))
    return found[::-1]


def together(rows: list[ReadingValue]) -> list[list[ReadingValue]]:
    """Results by hand of one visit each, in order of time."""
    groups: list[list[ReadingValue]] = []
    for row in rows:
        if not groups or row.at - groups[-1][0].at > TOGETHER:
            groups.append([])
        groups[-1].append(row)
    return groups
