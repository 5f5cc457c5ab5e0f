"""A tank's bands as one table to type in: each with what is usual for its water type beside it."""

from dataclasses import dataclass

from clients.models import Tank
from servicedesk.core import units
from servicedesk.core.tables import read_csv
from servicedesk.water.models import Band
from servicedesk.water.queries import bands_of

LEVELS = ("alarm_low", "low", "target", "high", "alarm_high")
CHANGES = ("max_rise_per_day", "max_fall_per_day")
COLUMNS = LEVELS + CHANGES


@dataclass(frozen=True)
class BandRow:
    """One parameter: the unit it is shown in, what is typed at the start and what is usual, both in that unit; `key` that of its band, where there is
    one."""

    parameter: str
    name: str
    unit: str
    start: dict[str, str]
    usual: dict[str, str]
    key: int | None = None


def usual_bands(water_type: str) -> dict[str, dict[str, float]]:
    """The starting limits of a water type by parameter and column, canonical units (core/tables/bands.csv)."""
    rows = [row for row in read_csv("bands.csv") if row["water_type"] == water_type]
    return {r["parameter"]: {c: float(r[c]) for c in COLUMNS if r[c].strip()} for r in rows}


def in_unit(parameter: str, column: str, value: float, unit: str) -> float:
    """A canonical limit in a unit; a change per day has no offset."""
    factor, offset = units.scale_of(parameter=parameter, unit=unit)
    return (value - (offset if column in LEVELS else 0)) / factor


def from_unit(parameter: str, column: str, value: float, unit: str) -> float:
    """What was typed in a unit as a canonical limit."""
    factor, offset = units.scale_of(parameter=parameter, unit=unit)
    return value * factor + (offset if column in LEVELS else 0)


def _texts(parameter: str, limits: dict[str, float], unit: str) -> dict[str, str]:
    return {c: f"{round(in_unit(parameter, c, value, unit), 6):.9g}" for c, value in limits.items()}


def _limits(band: Band | None) -> dict[str, float]:
    return {c: getattr(band, c) for c in COLUMNS if band is not None and getattr(band, c) is not None}


def band_rows(tank: Tank) -> list[BandRow]:
    """Every parameter that has a band here or usually has one in this water, in the usual order."""
    bands, usual = bands_of(tank), usual_bands(tank.water_type)
    rows = []
    for known in sorted((units.parameter(key) for key in {*bands, *usual}), key=lambda p: (p.order, p.key)):
        band = bands.get(known.key)
        unit = band.unit if band else known.unit
        start, beside = _limits(band), usual.get(known.key, {})
        rows.append(
            BandRow(
                known.key,
                known.name,
                unit,
                _texts(known.key, start, unit),
                _texts(known.key, beside, unit),
                band.pk if band else None,
            )
        )
    return rows
