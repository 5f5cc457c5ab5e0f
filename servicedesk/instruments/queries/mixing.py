"""Which results of instruments came before a dose was mixed in, as far as doses were reported. A channel's setting names no hours: what is set and not
reported is not known."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clients.models import Tank
from servicedesk.core.metrology.uncertainty import MethodSpec, tolerance
from servicedesk.core.tracking.mixed import counting, moved_by, since_dose
from servicedesk.dispatch.queries import standing
from servicedesk.dosing.models import Dose
from servicedesk.instruments.models import Measure
from servicedesk.instruments.queries import Standings, measured_by
from servicedesk.water.models import Reading
from servicedesk.water.queries import ReadingValue
from servicedesk.web.prepared import KEY, MOMENT, WORD, Slot, prepared

A_MINUTE = 60.0


@prepared(tank=KEY, since=MOMENT, until=MOMENT)
def _doses(tank: Slot, since: Slot, until: Slot) -> QuerySet[Dose, tuple[Any, ...]]:
    rows = standing(Dose.objects.filter(tank=tank, at__gte=since, at__lte=until)).order_by("at", "pk")
    return rows.values_list("at", "solution__parameter", "solution__composition")


def _minute(at: datetime) -> float:
    return at.timestamp() / A_MINUTE


class Mixing:
    """For how many minutes after a dose the results of which equipment are not of mixed water (`within`), and how well each measures what it measures
    (`specs`). When what was dosed that moves which parameter (minutes since 1970, in order) is asked at the first need."""

    def __init__(
        self,
        within: Mapping[UUID, int],
        specs: Mapping[tuple[UUID, str], MethodSpec],
        load: Callable[[], Mapping[str, Sequence[float]]],
    ) -> None:
        self.within, self.specs, self._load = within, specs, load

    @cached_property
    def doses(self) -> Mapping[str, Sequence[float]]:
        return self._load()

    def since_dose(self, equipment: UUID | None, parameter: str, at: datetime) -> float | None:
        """How many minutes before a result a dose was given that was not mixed in yet; None where there was none."""
        within = self.within.get(equipment, 0) if equipment else 0
        return since_dose(_minute(at), self.doses.get(parameter, ()), within) if within else None

    def counting(
        self, equipment: UUID | None, parameter: str, rows: Sequence[tuple[datetime, float]]
    ) -> list[bool]:
        """Which results of one series, in order of time, count; the following one says the same where it differs by no more than is tolerated and
        two steps of the display."""
        marked = [self.since_dose(equipment, parameter, at) is not None for at, _value in rows]
        if equipment is None or not any(marked):
            return [True] * len(rows)
        values, spec = [value for _at, value in rows], self.specs.get((equipment, parameter))
        same = max(tolerance(spec, value) for value in values) + 2 * spec.resolution if spec else 0.0
        return counting(values, marked, same)


MIXED = Mixing({}, {}, dict)
"""Where no instrument says how long it takes: everything is of mixed water."""


def _known(
    tank: Tank, within: Mapping[UUID, int], since: datetime, until: datetime
) -> dict[str, list[float]]:
    """When what was dosed in that time, and so long before as is waited."""
    doses: dict[str, list[float]] = defaultdict(list)
    first = since - timedelta(minutes=max(within.values()))
    for at, parameter, composition in _doses(tank=tank.pk, since=first, until=until):
        minute = _minute(at)
        for moved in moved_by(parameter, composition):
            doses[moved].append(minute)
    return doses


def mixing_of(tank: Tank, measures: Iterable[Measure], *, since: datetime, until: datetime) -> Mixing:
    """What is known of the doses of a tank in that time for what instruments measure there; asked only where one says how long mixing takes."""
    some = [measure for measure in measures if measure.instrument.after_dose_minutes]
    if not some:
        return MIXED
    within = {m.instrument.equipment_id: m.instrument.after_dose_minutes for m in some}
    specs = {(m.instrument.equipment_id, m.parameter): measured_by(m) for m in some}
    return Mixing(within, specs, lambda: _known(tank, within, since, until))


def minutes_since_dose(tank: Tank, values: Iterable[ReadingValue], standings: Standings) -> dict[int, int]:
    """Of values by instruments that came before a dose was mixed in, by reading, how many whole minutes after it. Doses are asked for only where an
    instrument of theirs needs its time."""
    within = {equipment: stands.mixes_minutes for (equipment, _parameter), stands in standings.items()}
    some = [value for value in values if value.equipment_id and within.get(value.equipment_id)]
    if not some:
        return {}
    times = [value.at for value in some]
    mixing = Mixing(within, {}, lambda: _known(tank, within, min(times), max(times)))
    found = {v.reading_id: mixing.since_dose(v.equipment_id, v.parameter, v.at) for v in some}
    return {key: int(minutes) for key, minutes in found.items() if minutes is not None}


NEAREST = 6


def _of(equipment: Slot, parameter: Slot, first: Slot, last: Slot) -> QuerySet[Reading, tuple[Any, ...]]:
    rows = Reading.objects.filter(
        series__source__equipment=equipment, series__parameter=parameter, at__gte=first, at__lte=last
    )
    return rows.values_list("at", "value", "pk")


@prepared(equipment=KEY, parameter=WORD, first=MOMENT, last=MOMENT)
def _until(equipment: Slot, parameter: Slot, first: Slot, last: Slot) -> QuerySet[Reading, tuple[Any, ...]]:
    return _of(equipment, parameter, first, last).order_by("-at", "pk")[:NEAREST]


@prepared(equipment=KEY, parameter=WORD, first=MOMENT, last=MOMENT)
def _from(equipment: Slot, parameter: Slot, first: Slot, last: Slot) -> QuerySet[Reading, tuple[Any, ...]]:
    return _of(equipment, parameter, first, last).order_by("at", "pk")[:NEAREST]


def counted_around(
    measure: Measure, at: datetime, first: datetime, last: datetime, mixing: Mixing
) -> list[tuple[Any, ...]]:
    """What an instrument showed around a moment of what counts, (key, time, value): at most two before and one after."""
    asked: dict[str, Any] = {"equipment": measure.instrument.equipment_id, "parameter": measure.parameter}
    before = [*_until(**asked, first=first, last=min(at, last))][::-1]
    near = [*before, *(row for row in _from(**asked, first=at, last=last) if row[0] > at)]
    counts = mixing.counting(
        asked["equipment"], measure.parameter, [(moment, value) for moment, value, _pk in near]
    )
    kept = [(pk, moment, value) for (moment, value, pk), count in zip(near, counts, strict=True) if count]
    return [*[row for row in kept if row[1] <= at][-2:], *[row for row in kept if row[1] > at][:1]]
