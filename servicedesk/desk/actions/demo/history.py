"""Four months of history: each tank's water simulated, tested on visits, measured by instruments."""

import hashlib
from collections import defaultdict
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.utils import timezone

from clients.models import Livestock, LivestockFact, Tank
from servicedesk.core import units
from servicedesk.desk.actions.demo.simulate import Water, at_hour, measured
from servicedesk.desk.actions.demo.world import DAYS, World, fill_channel
from servicedesk.instruments.models import Measure
from servicedesk.rounds.choices import StopState
from servicedesk.rounds.models import Stop
from servicedesk.visits.actions.wire import digest
from servicedesk.visits.models import Entry, Visit
from servicedesk.water import actions as water
from servicedesk.water.models import Band, Method, Reading, Series, Source, TankTest, WaterChange

USE = {"reef_stony": 0.9, "reef_mixed": 0.55, "reef_soft": 0.2}
PER_HAND_CHANGE = 0.12


class Bulk:
    """Rows collected to be written together."""

    def __init__(self, w: World) -> None:
        self.w = w
        self.readings: list[Reading] = []
        self.entries: list[Entry] = []
        self.changes: list[WaterChange] = []
        self.series: dict[tuple[Any, ...], Series] = {}

    def reading(
        self, tank: Tank, method: Method, source: Source, at: datetime, value: float, origin: UUID, by: Any
    ) -> None:
        known = units.parameter(method.parameter)
        key = (tank.pk, method.parameter, source.pk, method.pk)
        if key not in self.series:
            self.series[key] = Series.objects.get_or_create(
                tank=tank, parameter=method.parameter, source=source, method=method
            )[0]
        text = f"{value:.{known.decimals}f}"
        self.readings.append(
            Reading(
                series=self.series[key], at=at, value=float(text), entered=text, entered_unit=known.unit, by=by,
                origin=origin, received_at=at,
            )
        )  # fmt: skip

    def entry(self, visit: Visit, kind: str, payload: dict[str, Any], at: datetime, seq: int) -> UUID:
        key = self.w.key()
        self.entries.append(
            Entry(
                id=key, visit=visit, kind=kind, payload=payload, sha256=digest(kind, visit.pk, payload), seq=seq,
                author=visit.technician, tablet="demo", tablet_time=at, at=at, received_at=at,
            )
        )  # fmt: skip
        return key

    def write(self) -> None:
        Entry.objects.bulk_create(self.entries, batch_size=500)
        Reading.objects.bulk_create(self.readings, batch_size=500)
        WaterChange.objects.bulk_create(self.changes, batch_size=500)


def _start(tank: Tank) -> dict[str, float]:
    """Where a tank's water begins: at each target, or inside the band."""
    values = {"temperature": 25.0}
    for band in Band.objects.filter(tank=tank):
        low, high = band.low, band.high
        middle = band.target if band.target is not None else ((low or 0) + (high or low or 0)) / 2
        values[band.parameter] = middle
    return values


def _water(w: World, tank: Tank) -> Water:
    state = Water(tank.water_type, tank.net_l, _start(tank))
    uptake = USE.get(tank.water_type, 0.0)
    if uptake:
        state.doses = {"alkalinity": uptake + 0.004, "calcium": uptake * 7.147}
    weeks = min(p.every_weeks for p in tank.plans.all())
    share = PER_HAND_CHANGE * (0.4 if tank.water_type == "pond" else 1)
    state.feed_no3 = state.values.get("nitrate", 0.0) * share / (7 * weeks) * w.rng.uniform(0.8, 1.3)
    state.feed_po4 = state.values.get("phosphate", 0.0) * share / (7 * weeks) * w.rng.uniform(0.8, 1.3)
    return state


def _channels(w: World, tank: Tank) -> None:
    """Set rates from uptake; fill containers, one of them left empty."""
    uptake, plan = USE[tank.water_type], w.planted[tank.name]
    for channel in w.channels.get(tank.name, []):
        rise = uptake if channel.solution.parameter == "alkalinity" else uptake * 7.147
        rate = rise * tank.net_l / channel.solution.per_ml
        empty = plan == "empty" and channel.solution.parameter == "calcium"
        days_ago = 16.0 if empty else 4.0
        full = rate * 13 if empty else min(4800.0, rate * 24)
        fill_channel(w, channel, ml_per_day=rate, ml_now=min(5000.0, full), days_ago=days_ago)


def _faults(w: World, tank: Tank, state: Water, day: int) -> None:
    """The planted faults of the water itself."""
    plan, left = w.planted[tank.name], DAYS - day
    if plan == "slow" and left == 13:
        state.given["alkalinity"] = 0.82
    if plan == "empty" and left == 3:
        state.given["calcium"] = 0.0


def run_tank(w: World, tank: Tank, stops: list[Stop], bulk: Bulk) -> None:
    """Simulate one tank, writing what visits and instruments saw of it."""
    if tank.water_type in USE:
        _channels(w, tank)
    state, tests = (
        _water(w, tank),
        list(TankTest.objects.filter(tank=tank).select_related("method").order_by("order")),
    )
    bias = {test.pk: w.rng.uniform(-0.5, 0.5) for test in tests}
    on_day: dict[int, list[Stop]] = defaultdict(list)
    for stop in stops:
        on_day[(stop.round.day - w.start.date()).days].append(stop)
    for day in range(DAYS):
        _faults(w, tank, state, day)
        for device in w.measures.get(tank.name, []):
            _device(w, device, state, day, bulk)
        for stop in on_day.get(day, []):
            _visit(w, tank, stop, state, tests, bias, bulk)
        state.day(w.rng)


def _visit(
    w: World, tank: Tank, stop: Stop, state: Water, tests: list[TankTest], bias: dict[Any, float], bulk: Bulk
) -> None:
    visit = stop.due_visit.visit
    hand = water.by_hand()
    for seq, test in enumerate(tests, start=10 * tank.order):
        at = visit.arrived_at + timedelta(minutes=3 + 2 * (seq % 10))
        method = test.method
        value = measured(
            at_hour(state, test.parameter, at.hour), abs_tol=method.tolerance_abs, rel_tol=method.tolerance_rel,
            step=method.resolution, bias=bias[test.pk], rng=w.rng,
        )  # fmt: skip
        known = units.parameter(test.parameter)
        payload = {"tank": str(tank.pk), "parameter": test.parameter, "method": str(method.pk),
                   "value": f"{value:.{known.decimals}f}", "unit": known.unit, "seq": 0}  # fmt: skip
        origin = bulk.entry(visit, "reading", payload, at, seq)
        bulk.reading(tank, method, hand, at, value, origin, visit.technician)
    if stop.due_visit.plan and stop.due_visit.plan.name == "Regular service":
        at = visit.arrived_at + timedelta(minutes=25)
        litres = round(tank.net_l * PER_HAND_CHANGE * (1 if tank.water_type != "pond" else 0.4))
        origin = bulk.entry(
            visit, "water_change", {"tank": str(tank.pk), "litres": str(litres)}, at, 60 + tank.order
        )
        bulk.changes.append(
            WaterChange(tank=tank, litres=litres, at=at, by=visit.technician, origin=origin, received_at=at)
        )
        state.change(litres / tank.net_l)


def _device(w: World, row: Measure, state: Water, day: int, bulk: Bulk) -> None:
    plan, left = w.planted[row.instrument.tank.name], DAYS - day
    if row.parameter not in state.values or (plan == "silent" and left <= 2):
        return
    factor = 0.86 if plan == "wrong_reagent" and left <= 9 and row.parameter == "alkalinity" else 1.0
    source = water.source_of(row.instrument.equipment)
    for hour in range(0, 24, max(1, row.instrument.interval_minutes // 60)):
        at = w.start + timedelta(days=day, hours=hour)
        if at > w.now:
            return
        true = at_hour(state, row.parameter, hour) * factor
        value = measured(
            true,
            abs_tol=row.method.tolerance_abs / 2,
            rel_tol=0,
            step=row.method.resolution,
            bias=0.2,
            rng=w.rng,
        )
        bulk.reading(row.instrument.tank, row.method, source, at, value, w.key(), None)


def past_visits(w: World, stops: list[Stop]) -> None:
    """Open and close the visits of stops that lie behind."""
    visits, moved = [], []
    for stop in stops:
        start = datetime.combine(stop.round.day, stop.planned_at, tzinfo=timezone.get_current_timezone())
        start += timedelta(minutes=w.rng.randint(-6, 14))
        end = start + timedelta(minutes=stop.minutes + w.rng.randint(-8, 12))
        visit = Visit(
            id=stop.due_visit_id, due_visit=stop.due_visit, site=stop.due_visit.site, technician=stop.round.technician,
            state="closed", arrived_at=start, closed_at=end, closed_by=stop.round.technician,
        )  # fmt: skip
        stop.due_visit.visit = visit
        visits.append(visit)
        stop.state, stop.arrived_at, stop.left_at = StopState.CLOSED, start, end
        moved.append(stop)
    Visit.objects.bulk_create(visits, batch_size=500)
    Stop.objects.bulk_update(moved, ["state", "arrived_at", "left_at"], batch_size=500)


def death(w: World, tank: Tank, visit: Visit, bulk: Bulk) -> None:
    """A death on the last visit, honestly told."""
    animal = Livestock.objects.filter(tank=tank).order_by("name").first()
    assert animal is not None
    at = visit.arrived_at + timedelta(minutes=4)
    payload: dict[str, Any] = {
        "livestock": str(animal.pk),
        "change": "died",
        "number": 1,
        "cause": "old age, likely",
    }
    origin = bulk.entry(visit, "livestock", payload, at, 90)
    LivestockFact.objects.create(
        livestock=animal, change="died", number=1, cause=payload["cause"], at=at, by=visit.technician, origin=origin,
        received_at=at,
    )  # fmt: skip


def seal(bulk: Bulk) -> str:
    """A digest of all values written, to compare two loads with the same seed."""
    text = ";".join(f"{r.series_id}:{r.at.isoformat()}:{r.value}" for r in bulk.readings)
    return hashlib.sha256(text.encode()).hexdigest()
