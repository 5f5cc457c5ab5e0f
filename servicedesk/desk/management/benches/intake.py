"""How fast readings are taken in: the action, from parsed SenML, against COPY in committed batches into a table made the same.

Needs PostgreSQL, and a database that may keep a client called "bench …". Batches alternate between the two, so that both meet the same
machine. Then the same packs through the real web process, and through a real broker and the listener where mosquitto is on this machine, into
a house of its own that is thrown away afterwards; with what two pages take meanwhile."""

import json
import statistics
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

from django.core.management.base import CommandError
from django.db import connection, transaction

from clients.models import Client, Equipment, Site, Tank
from servicedesk.desk.management.benches import Options
from servicedesk.desk.management.doors import whole_way
from servicedesk.instruments.actions import SENML, take
from servicedesk.instruments.actions.deliveries import read
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.water import actions as water
from servicedesk.water.models import Method, Reading, Series

COLUMNS = ("series_id", "at", "seq", "value", "entered", "entered_unit", "flags", "by_id", "origin", "part", "received_at")  # fmt: skip
ROWS, BATCHES, WARM, LEAST = 500, 40, 2, 0.4
TWIN = "bench_intake_reading"
DOORS = 4
"""So many times the batches go through each door, so that it takes long enough to ask for pages meanwhile."""


def _scene() -> Instrument:
    """A tank with an instrument of its own."""
    client = Client.objects.create(name=f"bench {uuid.uuid4()}")
    site = Site.objects.create(client=client, name="bench")
    tank = Tank.objects.create(site=site, name="bench", water_type="reef_mixed", gross_l=500, net_l=400)
    equipment = Equipment.objects.create(site=site, tank=tank, name="bench", kind="instrument")
    instrument = Instrument.objects.create(equipment=equipment, tank=tank)
    method = Method.objects.create(parameter="alkalinity", name=f"bench {uuid.uuid4()}", kind="titrator")
    Measure.objects.create(
        instrument=instrument, parameter="alkalinity", sent_name="alk", unit="dKH", method=method
    )
    return instrument


def _pack(start: datetime) -> bytes:
    began = start.timestamp()
    rows = [{"n": "alk", "u": "dKH", "v": 7 + (n % 40) / 20, "t": began + 60 * n} for n in range(ROWS)]
    return json.dumps(rows).encode()


def _copied(series: int, start: datetime, origin: uuid.UUID, at: datetime) -> list[tuple[Any, ...]]:
    return [
        (series, start + timedelta(minutes=n), 0, 7 + (n % 40) / 20, f"{7 + (n % 40) / 20:g}", "dKH", 0, None, origin, n, at)
        for n in range(ROWS)
    ]  # fmt: skip


def _copy(rows: list[tuple[Any, ...]]) -> None:
    names = ", ".join(COLUMNS)
    with (
        transaction.atomic(),
        connection.cursor() as cursor,
        cursor.copy(f"COPY {TWIN} ({names}) FROM STDIN") as into,
    ):
        for row in rows:
            into.write_row(row)


def _seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def _measured(instrument: Instrument, series: int, batches: int) -> tuple[list[float], list[float]]:
    """Seconds of each batch copied, and of each taken in; the first two warm caches and are not counted."""
    now, copies, takings = datetime.now(UTC), list[float](), list[float]()
    for number in range(batches + WARM):
        start = now - timedelta(days=80) + timedelta(minutes=ROWS * number)
        rows = _copied(series, start, uuid.uuid4(), now)
        body = _pack(start)
        records = read(body, media_type=SENML, at=now)
        copies.append(_seconds(partial(_copy, rows)))
        takings.append(_seconds(partial(take, instrument=instrument, records=records, body=body, at=now)))
    return copies[WARM:], takings[WARM:]


def run(options: Options) -> dict[str, Any]:
    if connection.vendor != "postgresql":
        raise CommandError("bench intake compares with COPY: it needs DATABASE_URL=postgresql://…")
    batches, instrument = options.repeat or BATCHES, _scene()
    source = water.source_of(instrument.equipment)
    method = instrument.measures.get().method
    series = Series.objects.create(tank=instrument.tank, parameter="alkalinity", source=source, method=method)
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {TWIN}")
        cursor.execute(f"CREATE TABLE {TWIN} (LIKE {Reading._meta.db_table} INCLUDING ALL)")
    try:
        copies, takings = (statistics.median(some) for some in _measured(instrument, series.pk, batches))
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP TABLE IF EXISTS {TWIN}")
    stored, share = Reading.objects.filter(series=series).count(), copies / takings
    failed = [] if share >= LEAST else [f"The action reaches {share:.2f} of COPY; the bar is {LEAST:g}."]
    if stored != ROWS * (batches + WARM):
        failed.append(f"{stored} readings are stored, {ROWS * (batches + WARM)} were sent.")
    metrics = {
        "action_rows_per_s": round(ROWS / takings),
        "share": round(share, 3),
        "batches": batches,
        "stored": stored,
    }
    through, wrong = whole_way(batches=DOORS * (options.repeat or BATCHES), rows=ROWS, say=options.say)
    metrics, failed = {**metrics, **through}, failed + wrong
    return {"baseline": {"copy_rows_per_s": round(ROWS / copies)}, "metrics": metrics, "failed": failed}
