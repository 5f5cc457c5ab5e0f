"""One tank on one day: today's tests, what history expects, the compiled program and what it says."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from clients.models import Tank
from clients.queries import current_state
from servicedesk.core import units
from servicedesk.core.advice import BandSpec, Judgement, Product, TankSheet, Verdict, compile_sheet, judge
from servicedesk.core.metrology.uncertainty import (
    Reference,
    Replicate,
    reference_value,
    repeat_u,
    standard_uncertainty,
    tolerance,
)
from servicedesk.core.tables import read_csv
from servicedesk.core.tracking.history import Expected, expected
from servicedesk.dosing.models import Channel, Solution
from servicedesk.dosing.queries import Settings, channels_of
from servicedesk.instruments.queries import Standings, standings_of, trust_by_parameter
from servicedesk.visits.choices import EntryKind
from servicedesk.visits.models import Entry, Visit
from servicedesk.water.models import Band, Method, TankTest
from servicedesk.water.queries import (
    ReadingValue,
    WaterIn,
    bands_of,
    latest_values,
    readings_of,
    spec_of,
    standing_readings,
    tests_of,
    water_for,
)
from servicedesk.web.prepared import KEY, Slot, prepared
from servicedesk.web.zones import day_of

HISTORY_DAYS = 180
SALTS = frozenset(row["salt"] for row in read_csv("salts.csv"))
REPLICATES_WITHIN = timedelta(hours=3)
"""Results of one visit (common practice)."""
MOST_POINTS = 12
GLYPHS = {
    "in_band": "in",
    "below": "low",
    "above": "high",
    "below_limit": "under",
    "above_limit": "over",
    "test_again": "again",
    "not_tested": "none",
}


def band_spec(band: Band) -> BandSpec:
    """A band as the core computes with it."""
    names = ("low", "target", "high", "alarm_low", "alarm_high", "max_rise_per_day", "max_fall_per_day")
    return BandSpec(parameter=band.parameter, unit=band.unit, **{name: getattr(band, name) for name in names})


@dataclass(frozen=True)
class Tested:
    """One test of a tank today: usual method, replicates so far, last value before, verdict."""

    test: TankTest
    band: Band | None
    unit: str
    replicates: list[ReadingValue]
    last: ReadingValue | None
    reference: Reference | None
    verdict: Verdict

    @property
    def parameter(self) -> units.Parameter:
        return units.parameter(self.test.parameter)

    @property
    def value(self) -> float | None:
        return self.reference.value if self.reference else None

    @property
    def glyph(self) -> str:
        return GLYPHS[self.verdict.word]

    def shown(self, value: float | None) -> str:
        return "" if value is None else units.show(self.test.parameter, value, self.unit)


@prepared(visit=KEY)
def _read_in(visit: Slot) -> QuerySet[Entry, UUID]:
    return Entry.objects.filter(visit=visit, kind=EntryKind.READING).values_list("pk", flat=True)


class TankToday:
    """Everything about one tank that a visit judges by, worked out once per page."""

    def __init__(self, visit: Visit, tank: Tank, *, at: datetime) -> None:
        self.visit, self.tank, self.at = visit, tank, at

    @cached_property
    def bands(self) -> dict[str, Band]:
        return bands_of(self.tank)

    @cached_property
    def tests(self) -> list[TankTest]:
        return tests_of(self.tank)

    @cached_property
    def state(self) -> str:
        return current_state(self.tank, day_of(self.at))

    @cached_property
    def _readings(self) -> list[ReadingValue]:
        return readings_of(
            self.tank, since=self.visit.arrived_at - timedelta(days=HISTORY_DAYS), by_hand=True
        )

    @cached_property
    def _origins(self) -> set[Any]:
        if self.visit._state.adding:  # nobody has arrived yet: nothing was written
            return set()
        return set(_read_in(visit=self.visit.pk))

    @cached_property
    def today(self) -> dict[str, list[ReadingValue]]:
        """Values taken in this visit, by parameter, in order."""
        found: dict[str, list[ReadingValue]] = defaultdict(list)
        for reading in self._readings:
            if reading.origin in self._origins:
                found[reading.parameter].append(reading)
        return found

    @cached_property
    def before(self) -> dict[str, list[ReadingValue]]:
        """Values taken by hand before this visit, by parameter, in order: of replicates the first that stands."""
        found: dict[str, list[ReadingValue]] = defaultdict(list)
        for reading in self._readings:
            if reading.origin in self._origins or reading.at >= self.visit.arrived_at:
                continue
            rows = found[reading.parameter]
            if reading.seq == 0 or not rows or reading.at - rows[-1].at > REPLICATES_WITHIN:
                rows.append(reading)
        return found

    @cached_property
    def last(self) -> dict[str, ReadingValue]:
        newest = latest_values([self.tank], until=self.visit.arrived_at)
        return {
            parameter: value
            for (_tank, parameter), value in newest.items()
            if value.origin not in self._origins
        }

    @cached_property
    def standings(self) -> Standings:
        """Where each series of the tank's instruments stands."""
        return standings_of([self.tank])

    @cached_property
    def _methods(self) -> dict[Any, Method]:
        usual = {test.method_id: test.method for test in self.tests}
        others = {r.method_id for rows in self.today.values() for r in rows} - usual.keys()
        return {**usual, **(Method.objects.in_bulk(others) if others else {})}

    def reference(self, parameter: str) -> Reference | None:
        """Today's results of one parameter, combined."""
        rows = self.today.get(parameter, [])
        if not rows:
            return None
        return reference_value([Replicate(r.value, spec_of(self._methods[r.method_id])) for r in rows])

    def sigma(self, parameter: str) -> float | None:
        """The scatter that the next result may show against the first, where all so far are of one method."""
        rows = self.today.get(parameter, [])
        if len({r.method_id for r in rows}) != 1:
            return None
        return repeat_u(spec_of(self._methods[rows[0].method_id]), rows[0].value) or None

    def _expected(self, test: TankTest) -> Expected | None:
        rows = self.before.get(test.parameter, [])[-MOST_POINTS:]
        points = [((self.visit.arrived_at - r.at).total_seconds() / 86400, r.value) for r in rows]
        band = self.bands.get(test.parameter)
        middle = points[-1][1] if points else 0.0
        steepest = (band.max_fall_per_day or band.max_rise_per_day) if band else None
        wide = tolerance(spec_of(test.method), middle)
        least = _least_width(band) if band else 0.0
        return expected(
            points, tolerance=max(wide, least), steepest=None if steepest is None else steepest / 7
        )

    def _test_u(self, test: TankTest) -> float:
        """The standard uncertainty of a test by its usual method, where the band would have the value."""
        band = self.bands.get(test.parameter)
        goal = band_spec(band).goal if band else None
        return standard_uncertainty(spec_of(test.method), goal or 0.0)

    @cached_property
    def water_in(self) -> WaterIn:
        """The water that this tank gets at a change."""
        return water_for(self.tank)

    @cached_property
    def sheet(self) -> TankSheet:
        sensitive = {
            word for words in self.tank.livestock.values_list("sensitive_to", flat=True) for word in words
        }
        expectations = {t.parameter: self._expected(t) for t in self.tests}
        return TankSheet(
            water_type=self.tank.water_type,
            net_l=self.tank.net_l,
            net_l_u=self.tank.net_l_u,
            state=self.state,
            bands=tuple(band_spec(band) for band in self.bands.values()),
            tests=tuple(t.parameter for t in self.tests),
            expected={p: e for p, e in expectations.items() if e is not None},
            products=tuple(products_of(self.tank, at=self.at)),
            fresh_mix=self.water_in.holds,
            trust=trust_by_parameter(self.standings),
            sensitive=tuple(sorted(sensitive)),
            test_u={t.parameter: self._test_u(t) for t in self.tests},
        )

    @cached_property
    def program(self) -> dict[str, Any]:
        return compile_sheet(self.sheet)

    @cached_property
    def values(self) -> dict[str, float | None]:
        """The program's inputs as they stand now."""
        found: dict[str, float | None] = {}
        for parameter in self.sheet.parameters():
            reference = self.reference(parameter)
            found[parameter] = reference.value if reference else None
            found[f"{parameter}:n"] = float(reference.replicates) if reference else None
            by_hand = all(row.source_kind == "hand" for row in self.today.get(parameter, []))
            found[f"{parameter}:apart"] = float(not reference.agree) if reference else None
            found[f"{parameter}:doubt"] = 0.0 if reference and by_hand else None
        return found

    @cached_property
    def judgement(self) -> Judgement:
        return judge(self.program, self.values)

    @cached_property
    def tested(self) -> list[Tested]:
        """Today's tests in the order people make them."""
        return [
            Tested(
                test=test,
                band=self.bands.get(test.parameter),
                unit=self._unit(test.parameter),
                replicates=self.today.get(test.parameter, []),
                last=self.last.get(test.parameter),
                reference=self.reference(test.parameter),
                verdict=self.judgement.verdicts[test.parameter],
            )
            for test in self.tests
        ]

    def _unit(self, parameter: str) -> str:
        band = self.bands.get(parameter)
        return band.unit if band else units.parameter(parameter).unit


def _least_width(band: Band) -> float:
    """History is never taken to be narrower than a tenth of the band."""
    if band.low is None or band.high is None:
        return 0.0
    return (band.high - band.low) * 0.1


@prepared(tank=KEY)
def _solutions(tank: Slot) -> QuerySet[Solution, tuple[Any, ...]]:
    mine = Channel.objects.filter(solution=OuterRef("pk"), tank=tank, retired_on__isnull=True)
    rows = Solution.objects.annotate(mine=Exists(mine)).filter(
        Q(mine=True) | Q(item__retired_on__isnull=True)
    )
    names = ("parameter", "pk", "item__name", "per_ml", "per_ml_u_rel", "composition")
    return rows.order_by("-mine", "item__name", "pk").values_list(*names)


def products_of(tank: Tank, *, at: datetime) -> list[Product]:
    """Solutions on this tank's channels, with what those run at; where it has none for a parameter, those of the business."""
    channels = channels_of([tank])
    rates = Settings(channels, at) if channels else None
    giving = {channel.solution_id: channel for channel in reversed(channels)}
    found: dict[str, Product] = {}
    for parameter, key, name, per_ml, per_ml_u_rel, composition in _solutions(tank=tank.pk):
        if parameter in found:
            continue
        product = Product(str(key), name, parameter, per_ml, per_ml_u_rel, salt=salt_in(composition))
        channel = giving.get(key)
        if channel is not None and rates is not None:
            product = replace(
                product,
                channel=str(channel.pk),
                running_ml=rates.rate(channel) or 0.0,
                pump_step_ml=channel.step_ml,
                most_ml=channel.max_ml_per_day,
            )
        found[parameter] = product
    return [product for _parameter, product in sorted(found.items())]


def salt_in(composition: str) -> str:
    """The salt of a solution, where its composition begins with a formula that the core knows: "Na2CO3, 100 g/L"."""
    first = composition.replace(",", " ").split()
    return first[0] if first and first[0] in SALTS else ""


def untested_in(visit: Visit, tanks: list[Tank]) -> dict[UUID, list[str]]:
    """Names of what is on each tank's list and was not tested in this visit, in the order of testing."""
    entries = Entry.objects.filter(visit=visit, kind=EntryKind.READING)
    told = set(
        standing_readings(tanks)
        .filter(origin__in=entries.values("pk"))
        .values_list("series__tank_id", "series__parameter")
    )
    out: dict[UUID, list[str]] = defaultdict(list)
    for test in TankTest.objects.filter(tank__in=[t.pk for t in tanks]).order_by("tank", "order", "pk"):
        if (test.tank_id, test.parameter) not in told:
            out[test.tank_id].append(units.parameter(test.parameter).name)
    return out


def today_of(visit: Visit, tank: Tank, *, at: datetime) -> TankToday:
    return TankToday(visit, tank, at=at)
