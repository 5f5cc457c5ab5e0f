"""The record's events and readings, taken in through the actions that the doors and the visits use."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from servicedesk.desk.management.replaying.world import Row, World, moment, rows_of, unit_of
from servicedesk.dosing import actions as dosing
from servicedesk.instruments.actions import Record, record_calibration, record_load, take
from servicedesk.water import actions as water
from servicedesk.water.actions import Incoming
from servicedesk.water.queries import readings_of

SPACE = uuid.UUID("3f2f6a44-6d6c-4f83-9f6a-0d3f6a0c7e11")
A_DAY = 86400.0


def first_units(folder: Path) -> dict[tuple[str, str], str]:
    """In which unit each instrument sent its first result of a parameter: as it would be registered when it is fitted."""
    found: dict[tuple[str, str], str] = {}
    for row in rows_of(folder, "readings.csv"):
        found.setdefault((row["source"], row["parameter"]), unit_of(row["parameter"], row["unit"]))
    return found


def by_time(folder: Path) -> list[tuple[datetime, int, Row]]:
    """Events and readings in the order in which they became known; an event before a reading of the same moment."""
    items = [(moment(row["time_posted"]), 0, row) for row in rows_of(folder, "events.csv")]
    items += [(moment(row["time_posted"]), 1, row) for row in rows_of(folder, "readings.csv")]
    items.sort(key=lambda item: item[:2])
    return items


def happened(row: Row) -> datetime:
    """When it happened, or was measured."""
    return moment(row["time_measured"] if "time_measured" in row else row["time"])


def apply(world: World, items: Iterable[tuple[datetime, int, Row]], at: datetime) -> None:
    """Take in what became known until now. One origin for each instrument and sweep, as one delivery."""
    sent: dict[str, list[Row]] = defaultdict(list)
    tested: dict[str, list[Row]] = defaultdict(list)
    for posted, what, row in items:
        if what == 0:
            _event(world, row, posted)
        elif row["source"] in world.instruments:
            sent[row["source"]].append(row)
        else:
            tested[row["system"]].append(row)
    for system, rows in sorted(tested.items()):
        _tested(world, system, rows, at)
    for name, rows in sorted(sent.items()):
        _sent(world, name, rows, at)


def _sent(world: World, name: str, rows: list[Row], at: datetime) -> None:
    records = [
        Record(
            index,
            row["parameter"],
            unit_of(row["parameter"], row["unit"]),
            float(row["value"]),
            moment(row["time_measured"]),
            dated=True,
        )
        for index, row in enumerate(rows)
    ]
    body = "\n".join(",".join(row.values()) for row in rows).encode()
    take(instrument=world.instruments[name], records=records, body=body, at=at)


def _tested(world: World, system: str, rows: list[Row], at: datetime) -> None:
    incoming = [
        Incoming(
            part=number,
            parameter=row["parameter"],
            method=world.by_hand(row["parameter"], row["method"]),
            at=moment(row["time_measured"]),
            value=float(row["value"]),
            unit=unit_of(row["parameter"], row["unit"]),
            seq=int(row["replicate"]) - 1,
        )
        for number, row in enumerate(rows)
    ]
    origin = uuid.uuid5(SPACE, f"{system} {at.isoformat()}")
    water.take_in(
        tank=world.tanks[system], source=water.by_hand(), rows=incoming, origin=origin, received_at=at
    )


def _event(world: World, row: Row, posted: datetime) -> None:
    known = EVENTS.get(row["kind"])
    if known is not None:
        known(world, row, moment(row["time"]), posted, uuid.uuid5(SPACE, "|".join(row.values())))


def _refill(world: World, row: Row, at: datetime, posted: datetime, origin: uuid.UUID) -> None:
    channel = world.channels[row["subject"]]
    level = min(float(row["level_after"]), channel.container_ml * 1.1)
    dosing.record_refill(channel=channel, ml_now=level, at=at, by=None, origin=origin, received_at=posted)


def _load(world: World, row: Row, at: datetime, posted: datetime, origin: uuid.UUID) -> None:
    level = float(row["level_after"])
    if level > 0:
        record_load(
            measure=world.bottles[row["subject"]], ml=level, at=at, by=None, origin=origin, received_at=posted
        )


def _calibrated(world: World, row: Row, at: datetime, posted: datetime, origin: uuid.UUID) -> None:
    """The record holds no numbers of a calibration: the last test by hand stands for the reference, what the instrument showed last for
    what it showed before. Where one of them is missing nothing can be written down."""
    for (name, parameter), measure in world.measures.items():
        if name != row["subject"]:
            continue
        values = readings_of(measure.instrument.tank, parameter=parameter, until=at)
        hand = [value.value for value in values if value.equipment_id is None]
        own = [value.value for value in values if value.equipment_id == measure.instrument.equipment_id]
        if hand and own:
            record_calibration(
                measure=measure, reference=hand[-1], before=own[-1], at=at, by=None, origin=origin,
                part=list(world.measures).index((name, parameter)), received_at=posted,
            )  # fmt: skip


def _changed(world: World, row: Row, at: datetime, posted: datetime, origin: uuid.UUID) -> None:
    water.record_water_change(
        tank=world.tanks[row["system"]], litres=float(row["value"]), at=at, by=None, origin=origin, received_at=posted
    )  # fmt: skip


def _rate(world: World, row: Row, at: datetime, posted: datetime, origin: uuid.UUID) -> None:
    dosing.set_rate(
        channel=world.channels[row["subject"]], ml_per_day=float(row["value"]), at=at, by=None, origin=origin,
        received_at=posted,
    )  # fmt: skip


def _by_hand(world: World, row: Row, at: datetime, posted: datetime, origin: uuid.UUID) -> None:
    channel = world.channel_of[row["system"]].get(row["parameter"])
    amount = float(row["value"] or 0)
    if channel is None or amount <= 0:
        return
    ml = amount if row["unit"] == "mL" else amount / channel.solution.per_ml
    dosing.record_dose(
        tank=channel.tank, solution=channel.solution, ml=ml, at=at, by=None, origin=origin, received_at=posted
    )


EVENTS = {
    "refill": _refill,
    "reagent_loaded": _load,
    "calibration": _calibrated,
    "water_change": _changed,
    "dose_rate_change": _rate,
    "manual_dose": _by_hand,
}
