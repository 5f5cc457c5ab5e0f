"""The recorded fleet as own data: tanks, bands, instruments, pumps. What the record does not tell of them is said here."""

import csv
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from clients.models import Client, Equipment, Site, Tank
from servicedesk.dosing.models import Channel, RateChange, Solution
from servicedesk.instruments.models import Instrument, Measure, SentDose
from servicedesk.staff.models import Business
from servicedesk.stock.models import Item
from servicedesk.water.models import Band, Method

Row = dict[str, str]
UNITS = {
    "degC": "C", "degF": "F", "pH": "NBS scale", "ppt": "PSS-78", "uS/cm": "µS/cm",
    "mg/L NO3-N": "mg/L NO3-N", "mg/L PO4-P": "mg/L PO4-P",
}  # fmt: skip
PLAIN = {"nitrate": "mg/L NO3", "phosphate": "mg/L PO4"}
"""What “mg/L” alone means."""
WATERS = {"marine_fish_only": "marine_fish"}
STEPS = {
    "alkalinity": 0.01,
    "calcium": 1.0,
    "magnesium": 5.0,
    "temperature": 0.05,
    "ph": 0.01,
    "conductivity": 0.05,
}
"""Steps of the instruments' displays, as their readings show them."""
BY_HAND = {
    ("alkalinity", "photometer"): (0.0, 0.020, 0.1), ("alkalinity", "titration kit"): (0.0, 0.015, 0.1),
    ("calcium", "titration kit"): (0.0, 0.015, 5.0), ("magnesium", "titration kit"): (0.0, 0.015, 15.0),
    ("nitrate", "photometer"): (0.0, 0.07, 0.1), ("phosphate", "photometer"): (0.0, 0.06, 0.01),
    ("salinity", "refractometer"): (0.3, 0.0, 0.5), ("temperature", "thermometer"): (0.1, 0.0, 0.1),
    ("ph", "electronic probe"): (0.04, 0.0, 0.01),
}  # fmt: skip
"""How good the tests by hand are: absolute and relative standard deviation, step. A tolerance is that times the square root of 3."""
KINDS = {
    "photometer": "photometer",
    "titration kit": "kit",
    "electronic probe": "probe",
    "thermometer": "probe",
}
LATE = timedelta(hours=22)
"""Lines of this fleet are lost for hours every month: no instrument is called late before that, over its own interval."""


def rows_of(folder: Path, name: str) -> Iterator[Row]:
    with (folder / name).open(encoding="utf-8", newline="") as lines:
        yield from csv.DictReader(lines)


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(UTC)


def unit_of(parameter: str, unit: str) -> str:
    """A unit as we name it."""
    return PLAIN.get(parameter, unit) if unit == "mg/L" else UNITS.get(unit, unit)


@dataclass
class World:
    """What was made, by the record's own names."""

    tanks: dict[str, Tank] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    measures: dict[tuple[str, str], Measure] = field(default_factory=dict)
    bottles: dict[str, Measure] = field(default_factory=dict)
    channels: dict[str, Channel] = field(default_factory=dict)
    channel_of: dict[str, dict[str, Channel]] = field(default_factory=lambda: defaultdict(dict))
    solutions: dict[str, Solution] = field(default_factory=dict)
    methods: dict[tuple[str, str], Method] = field(default_factory=dict)

    def by_hand(self, parameter: str, name: str) -> Method:
        key = (parameter, name)
        if key not in self.methods:
            absolute, relative, step = BY_HAND[key]
            self.methods[key] = Method.objects.create(
                parameter=parameter,
                name=name,
                kind=KINDS.get(name, "photometer"),
                tolerance_abs=absolute * math.sqrt(3),
                tolerance_rel=relative * math.sqrt(3),
                resolution=step,
            )
        return self.methods[key]

    def system_of(self, name: str) -> str:
        return name.split("-", maxsplit=1)[0]


def build(folder: Path, first_units: dict[tuple[str, str], str]) -> World:
    """All own data of a fleet. `first_units`: in which unit each measure of an instrument was registered."""
    Business.objects.get_or_create(only=True, defaults={"name": "Replay", "zone": "UTC"})
    world, client = World(), Client.objects.create(name="Replay")
    for row in rows_of(folder, "systems.csv"):
        _tank(world, client, row)
    for row in rows_of(folder, "bands.csv"):
        _band(world, row)
    channels = list(rows_of(folder, "channels.csv"))
    for row in rows_of(folder, "instruments.csv"):
        _measure(world, row, first_units)
    begun = min(moment(row["time"]) for row in rows_of(folder, "events.csv"))
    for row in channels:
        _channel(world, row, begun)
    return world


def _tank(world: World, client: Client, row: Row) -> None:
    name = row["system"]
    site = Site.objects.create(client=client, name=name, address=name, zone=row["timezone"])
    world.tanks[name] = Tank.objects.create(
        site=site,
        name=name,
        place=name,
        water_type=WATERS.get(row["water_type"], row["water_type"]),
        gross_l=max(
            float(row["gross_l"]), float(row["net_volume_l"])
        ),  # the estimate may be more than the vessel holds
        net_l=float(row["net_volume_l"]),
        net_l_u=0.06 * float(row["net_volume_l"]),
    )


def _band(world: World, row: Row) -> None:
    edges = {name: float(row[name]) for name in ("low", "high", "target", "alarm_low", "alarm_high")}
    daily = float(row["safe_daily_change"])
    Band.objects.create(
        tank=world.tanks[row["system"]],
        parameter=row["parameter"],
        unit=unit_of(row["parameter"], row["unit"]),
        max_rise_per_day=daily,
        max_fall_per_day=daily,
        **edges,
    )


def _measure(world: World, row: Row, first_units: dict[tuple[str, str], str]) -> None:
    name, parameter, tank = row["instrument"], row["parameter"], world.tanks[row["system"]]
    per_day = float(row["tests_per_day"])
    if name not in world.instruments:
        equipment = Equipment.objects.create(site=tank.site, tank=tank, kind="instrument", name=name)
        world.instruments[name] = Instrument.objects.create(
            equipment=equipment,
            tank=tank,
            interval_minutes=round(1440 / per_day),
            grace_minutes=round(LATE.total_seconds() / 60),
            own_dosing="set_points" if row["dosing_channel"] else "none",
        )
    kind = (parameter, row["kind"])
    if kind not in world.methods:
        world.methods[kind] = Method.objects.create(
            parameter=parameter,
            name=row["kind"].replace("_", " "),
            kind="titrator" if "titrator" in row["kind"] else "probe",
            tolerance_abs=float(row["tolerance"]),
            resolution=STEPS[parameter],
        )
    measure = Measure.objects.create(
        instrument=world.instruments[name],
        parameter=parameter,
        sent_name=parameter,
        unit=first_units.get((name, parameter), unit_of(parameter, row["unit"])),
        method=world.methods[kind],
        tests_per_day=per_day,
        ml_per_test=float(row["ml_per_test"] or 0),
        bottle_ml=float(row["bottle_ml"] or 0),
    )
    world.measures[name, parameter] = measure
    if row["reagent"]:
        world.bottles[row["reagent"]] = measure


def _channel(world: World, row: Row, begun: datetime) -> None:
    name, tank = row["channel"], world.tanks[row["system"]]
    parameter = "level" if row["parameter"] == "water" else row["parameter"]
    pump = Equipment.objects.create(site=tank.site, tank=tank, kind="dosing_pump", name=f"pump {name}")
    solution = Solution.objects.create(
        item=Item.objects.create(name=name, kind="supply"),
        parameter=parameter,
        per_ml=float(row["added_per_ml"]),
    )
    channel = Channel.objects.create(
        equipment=pump,
        tank=tank,
        solution=solution,
        container_ml=float(row["container_ml"]),
        driven=bool(row["driver"]),
    )
    world.channels[name] = channel
    world.channel_of[row["system"]][row["parameter"]] = channel
    if row["driver"]:
        SentDose.objects.create(
            instrument=world.instruments[row["driver"]], sent_name="dosed_volume", channel=channel
        )
    else:
        RateChange.objects.create(
            channel=channel, at=begun, ml_per_day=float(row["start_rate_ml_day"]), received_at=begun
        )
