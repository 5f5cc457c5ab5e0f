"""What the watch says, as the record's result files: alarms, forecasts, when something runs empty, how far an instrument is off."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median
from uuid import UUID

from servicedesk.core.chemistry.salinity import OutOfRange, practical_from_conductivity
from servicedesk.core.tracking.outlook import outlook
from servicedesk.desk.management.replaying.world import World
from servicedesk.dosing.queries import Settings
from servicedesk.instruments.queries import bottles_left
from servicedesk.instruments.queries.pairs import begun_at, last_pairs
from servicedesk.watch.choices import AttentionKind, Severity
from servicedesk.watch.models import Attention
from servicedesk.water.queries import readings_of

FORECAST = ("alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "salinity")
HORIZONS_H = (24, 72, 168)
HEADS = {
    "alarms": ("time", "system", "subject", "kind", "message"),
    "forecasts": ("issued_at", "system", "parameter", "horizon_h", "value", "lower90", "upper90"),
    "depletion_forecasts": ("issued_at", "subject", "empty_at", "lower90", "upper90"),
    "calibration": ("issued_at", "instrument", "estimated_bias", "lower90", "upper90"),
}
AGAIN_AFTER = timedelta(hours=72)
"""A cause that comes and goes is told once within three days."""
LOOKED_BACK = timedelta(days=45)
Z90 = 1.645
SPREAD, LEAST_DAYS = 0.08, 0.3
ABSOLUTE = {"ph", "temperature"}
"""Their bias is said in their own unit, the others' as a share."""


@dataclass
class Said:
    """Everything written down so far, and what was told already."""

    world: World
    lines: dict[str, list[tuple[object, ...]]] = field(default_factory=lambda: {name: [] for name in HEADS})
    told: dict[tuple[str, str], datetime] = field(default_factory=dict)
    seen: set[UUID] = field(default_factory=set)

    def alarms(self, at: datetime) -> None:
        """Rows that opened since the last look."""
        rows = Attention.objects.filter(cleared_at__isnull=True, severity__lt=Severity.WATCH).exclude(
            pk__in=self.seen
        )
        for row in rows.select_related("tank", "instrument__equipment").order_by("since", "pk"):
            self.seen.add(row.pk)
            for subject, kind in self._named(row):
                last = self.told.get((subject, kind))
                self.told[subject, kind] = at
                if last is None or at - last > AGAIN_AFTER:
                    system = row.tank.name if row.tank else ""
                    self.lines["alarms"].append((_iso(at), system, subject, kind, row.sentence))

    def _named(self, row: Attention) -> Iterator[tuple[str, str]]:
        """Subject and kind in the record's words."""
        device = row.instrument.equipment.name if row.instrument else ""
        system = row.tank.name if row.tank else ""
        if row.kind == AttentionKind.SILENT:
            yield device, "reagent_empty" if row.word == "no_reagent" else "instrument_silent"
        elif row.kind == AttentionKind.STUCK:
            yield device, "instrument_stuck"
        elif row.kind in (AttentionKind.DISAGREES, AttentionKind.DRIFTS):
            if row.word != "slip":
                yield device, "instrument_drift"
        elif row.kind == AttentionKind.RUNNING_OUT:
            yield self._empty(row, system), "reagent_empty" if device else "container_empty"
        elif row.kind == AttentionKind.BEYOND_LIMIT:
            yield row.parameter, "out_of_limits"
        elif row.kind == AttentionKind.SPEED:
            yield row.parameter, "unexplained_change"

    def _empty(self, row: Attention, system: str) -> str:
        if row.instrument:
            return row.instrument.equipment.name
        key = row.key.removeprefix("container:")
        return next((name for name, channel in self.world.channels.items() if str(channel.pk) == key), system)

    def daily(self, at: datetime) -> None:
        """Forecasts and estimates, once a day."""
        for system, tank in self.world.tanks.items():
            self._forecasts(system, at)
            channels = [c for c in self.world.channels.values() if c.tank_id == tank.pk]
            settings = Settings(channels, at)
            for name, channel in self.world.channels.items():
                if channel.tank_id == tank.pk:
                    self._runs_empty(name, settings.days_left(channel), at)
        measures = {measure.pk: name for name, measure in self.world.bottles.items()}
        for measure, tests in bottles_left(self.world.bottles.values(), at):
            self._runs_empty(measures[measure.pk], tests / measure.tests_per_day, at)
        for name in self.world.instruments:
            self._bias(name, at)

    def _runs_empty(self, subject: str, days: float | None, at: datetime) -> None:
        if days is None:
            return
        wide = Z90 * (LEAST_DAYS + SPREAD * days)
        ends = [at + timedelta(days=max(0.0, d)) for d in (days, days - wide, days + wide)]
        self.lines["depletion_forecasts"].append((_iso(at), subject, *map(_iso, ends)))

    def _forecasts(self, system: str, at: datetime) -> None:
        tank = self.world.tanks[system]
        points: dict[str, list[tuple[float, float]]] = {name: [] for name in FORECAST}
        for row in readings_of(tank, since=at - LOOKED_BACK, until=at):
            parameter, value = row.parameter, row.value
            if parameter == "conductivity":
                parameter, value = "salinity", _salinity(value)
            if parameter in points:
                points[parameter].append(((row.at - at).total_seconds() / 3600, value))
        for parameter, seen in points.items():
            for horizon in HORIZONS_H if seen else ():
                found = outlook(points=seen, horizon=float(horizon))
                self.lines["forecasts"].append(
                    (
                        _iso(at),
                        system,
                        parameter,
                        horizon,
                        f"{found.value:.5g}",
                        f"{found.low:.5g}",
                        f"{found.high:.5g}",
                    )
                )

    def _bias(self, name: str, at: datetime) -> None:
        """From the last tests by hand beside it; of a titrator that of its alkalinity."""
        mine = [m for (device, _p), m in self.world.measures.items() if device == name]
        measure = next((m for m in mine if m.parameter == "alkalinity"), mine[0])
        begun = begun_at(measure, at)
        since = max(at - LOOKED_BACK, begun) if begun else at - LOOKED_BACK
        pairs = last_pairs(measure, since=since, until=at, most=3)
        if not pairs:
            return
        scale = [1.0 if measure.parameter in ABSOLUTE else p.reference.value for p in pairs]
        shares = [p.difference / s for p, s in zip(pairs, scale, strict=True) if s]
        if shares:
            bias, u = median(shares), min(p.reference.u / s for p, s in zip(pairs, scale, strict=True) if s)
            self.lines["calibration"].append(
                (_iso(at), name, f"{bias:.5f}", f"{bias - Z90 * u:.5f}", f"{bias + Z90 * u:.5f}")
            )

    def save(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        for name, heads in HEADS.items():
            with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as lines:
                writer = csv.writer(lines, lineterminator="\n")
                writer.writerow(heads)
                writer.writerows(self.lines[name])


def _iso(at: datetime) -> str:
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


def _salinity(conductivity_ms_cm: float) -> float:
    """From conductivity brought to 25 °C."""
    try:
        return practical_from_conductivity(conductivity_ms_cm=conductivity_ms_cm, temperature_c=25.0)
    except OutOfRange:
        return 0.0
