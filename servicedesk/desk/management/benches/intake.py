"""How fast readings are taken in: the action, from parsed SenML, against COPY in committed batches into a table made the same.

Needs PostgreSQL, empty of this bench's own tank (it makes one, and rolls its rows back by erasure at the end of the run by dropping what it
made). Batches alternate between the two, so that both meet the same machine."""

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
from servicedesk.instruments.actions import SENML, take
from servicedesk.instruments.actions.deliveries import read
from servicedesk.instruments.models import Instrument, Measure
from servicedesk.water import actions as water
from servicedesk.water.models import Method, Reading, Series

COLUMNS = ("series_id", "at", "seq", "value", "entered", "entered_unit", "flags", "by_id", "origin", "part", "received_at")  # fmt: skip
ROWS, BATCHES, LEAST = 500, 40, 0.4
TWIN = "bench_intake_reading"


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


def run(options: Options) -> dict[str, Any]:
    if connection.vendor != "postgresql":
        raise CommandError("bench intake compares with COPY: it needs DATABASE_URL=postgresql://…")
    batches = options.repeat or BATCHES
    instrument, now = _scene(), datetime.now(UTC)
    source = water.source_of(instrument.equipment)
    measure = instrument.measures.get()
    series = Series.objects.create(
        tank=instrument.tank, parameter="alkalinity", source=source, method=measure.method
    )
    table = Reading._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {TWIN}")
        cursor.execute(f"CREATE TABLE {TWIN} (LIKE {table} INCLUDING ALL)")
    copies, takings = [], []
    try:
        for number in range(batches + 2):  # the first two warm caches and are not counted
            start = now - timedelta(days=80) + timedelta(minutes=ROWS * number)
            rows = _copied(series.pk, start, uuid.uuid4(), now)
            body = _pack(start)
            records = read(body, media_type=SENML, at=now)
            copy_s = _seconds(partial(_copy, rows))
            action = partial(take, instrument=instrument, records=records, body=body, at=now)
            take_s = _seconds(action)
            if number >= 2:
                copies.append(copy_s)
                takings.append(take_s)
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP TABLE IF EXISTS {TWIN}")
    stored = Reading.objects.filter(series=series).count()
    share = statistics.median(copies) / statistics.median(takings)
    failed = [] if share >= LEAST else [f"The action reaches {share:.2f} of COPY; the bar is {LEAST:g}."]
    if stored != ROWS * (batches + 2):
        failed.append(f"{stored} readings are stored, {ROWS * (batches + 2)} were sent.")
    return {
        "baseline": {"copy_rows_per_s": round(ROWS / statistics.median(copies))},
        "metrics": {
            "action_rows_per_s": round(ROWS / statistics.median(takings)),
            "share": round(share, 3),
            "batches": batches,
            "rows_in_a_batch": ROWS,
            "stored": stored,
        },
        "failed": failed,
    }
