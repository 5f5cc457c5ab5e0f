"""How long the watch takes: a sweep of a thousand tanks with news, one tank after a reading, and the same with ten times the history.

Makes its tanks in a transaction that is rolled back. The baseline is a loop of a million additions in the same run."""

import statistics
import time
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from clients.models import Client, Equipment, Site, Tank
from servicedesk.desk.management.benches import Options
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.watch.actions import judge_tank, sweep
from servicedesk.water import actions as water
from servicedesk.water.actions import Incoming, take_in
from servicedesk.water.models import Method

TANKS, DAYS, PER_DAY, LONGER = 1000, 14, 4, 10
KNOWN_DAYS = 140
"""From some two months on there are tests enough that everything is judged: one tank is measured where there is no more to do but more to look through."""
MOST_SWEEP_S, MOST_TANK_MS, MOST_GROWTH = 60.0, 30.0, 1.5
PARAMETERS = {"alkalinity": ("dKH", 8.0), "temperature": ("C", 25.0), "ph": ("NBS scale", 8.1)}
TRIES = 30


def _seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


class _Fleet:
    """Tanks with an instrument of three parameters each, and a weekly test by hand."""

    def __init__(self) -> None:
        self.now = timezone.now()
        self.client = Client.objects.create(name=f"bench {uuid.uuid4()}")
        self.methods = {
            (kind, name): Method.objects.create(
                parameter=name, name=f"bench {kind} {name}", kind=kind, tolerance_rel=0.05, resolution=0.01
            )
            for kind in ("probe", "kit")
            for name in PARAMETERS
        }
        self.hand = water.by_hand()

    def tank(self, number: int, days: int) -> Tank:
        site = Site.objects.create(client=self.client, name=f"bench {number}", address="")
        tank = Tank.objects.create(
            site=site, name=f"bench {number}", place="", water_type="reef_mixed", gross_l=500, net_l=400
        )
        water.set_default_bands(tank=tank)
        equipment = Equipment.objects.create(site=site, tank=tank, name="probe", kind="instrument")
        instrument = Instrument.objects.create(equipment=equipment, tank=tank, interval_minutes=360)
        for name, (unit, _middle) in PARAMETERS.items():
            Measure.objects.create(
                instrument=instrument, parameter=name, sent_name=name, unit=unit, method=self.methods["probe", name], tests_per_day=PER_DAY
            )  # fmt: skip
        self._values(tank, water.source_of(equipment), "probe", days * PER_DAY, 24 / PER_DAY)
        self._values(tank, self.hand, "kit", max(1, days // 7), 24 * 7)
        return tank

    def _values(self, tank: Tank, source: Any, kind: str, number: int, hours: float) -> None:
        rows = [
            Incoming(
                part, name, self.methods[kind, name], self.now - timedelta(hours=hours * step + 1),
                middle * (1 + ((step * 7) % 11 - 5) / 1000), unit,
            )
            for part, (step, (name, (unit, middle))) in enumerate(
                (step, item) for step in range(number) for item in PARAMETERS.items()
            )
        ]  # fmt: skip
        take_in(tank=tank, source=source, rows=rows, origin=uuid.uuid4(), received_at=self.now)


def _one(tank: Tank, at: datetime) -> float:
    """Median ms of judging a tank just after a reading."""
    judge_tank(tank=tank, at=at)
    since = at - timedelta(minutes=5)
    return 1000 * statistics.median(
        _seconds(lambda: judge_tank(tank=tank, at=at, since=since)) for _ in range(TRIES)
    )


def run(options: Options) -> dict[str, Any]:
    number = options.repeat or TANKS
    baseline = _seconds(lambda: sum(range(1_000_000)))
    with transaction.atomic():
        fleet = _Fleet()
        for n in range(number):
            fleet.tank(n, DAYS)
        known, old = fleet.tank(number, KNOWN_DAYS), fleet.tank(number + 1, KNOWN_DAYS * LONGER)
        whole = 0.0
        while True:  # a sweep claims five hundred at a time
            began, judged = time.perf_counter(), sweep(at=fleet.now)
            whole += time.perf_counter() - began
            if not judged:
                break
        one, long = _one(known, fleet.now), _one(old, fleet.now)
        transaction.set_rollback(True)
    failed = []
    if whole * TANKS / number > MOST_SWEEP_S:
        failed.append(
            f"A sweep of {TANKS} tanks takes {whole * TANKS / number:.0f} s; the bar is {MOST_SWEEP_S:g} s."
        )
    if one > MOST_TANK_MS:
        failed.append(f"One tank takes {one:.1f} ms; the bar is {MOST_TANK_MS:g} ms.")
    if long > MOST_GROWTH * one:
        failed.append(f"With {LONGER} times the history it takes {long / one:.2f} times as long.")
    metrics = {
        "tanks": number, "sweep_s": round(whole, 2), "one_tank_ms": round(one, 2), "with_ten_times_the_history_ms": round(long, 2),
    }  # fmt: skip
    return {"baseline": {"million_additions_s": round(baseline, 4)}, "metrics": metrics, "failed": failed}
