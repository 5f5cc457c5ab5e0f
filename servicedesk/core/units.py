"""Parameters, their units, and numbers as people type them.

Every stored value is in its parameter's canonical unit. A conversion that needs to know more (temperature, salinity,
scale) refuses and names what is missing. Nitrogen and phosphorus forms are units of their own, so that NO3 and NO3-N
are never confused. Factors: tables/units.csv, each with its source."""

import math
import re
from dataclasses import dataclass
from functools import cache

from servicedesk.core.tables import read_csv


class UnknownParameter(KeyError):
    """No such parameter."""

    def __str__(self) -> str:
        return f"“{self.args[0]}” is not a parameter we know."


class UnknownUnit(ValueError):
    """The parameter is not measured in this unit."""


class NeedsContext(ValueError):
    """The conversion needs to know more; `missing` names it."""

    def __init__(self, sentence: str, missing: tuple[str, ...]) -> None:
        super().__init__(sentence)
        self.missing = missing


class TypedWrong(ValueError):
    """What was typed is not a number."""


@dataclass(frozen=True)
class Parameter:
    """What is measured. Physical limits (canonical unit) bound what can be at all, not what is good."""

    key: str
    name: str
    unit: str
    units: tuple[str, ...]
    decimals: int
    physical_low: float
    physical_high: float
    order: int
    signal: bool


@dataclass(frozen=True)
class Quantity:
    """A number with its unit and standard uncertainty (same unit)."""

    value: float
    unit: str
    u: float = 0.0


@cache
def _factors() -> dict[tuple[str, str], tuple[float, float]]:
    return {
        (r["parameter"], r["unit"]): (float(r["factor"]), float(r["offset"])) for r in read_csv("units.csv")
    }


@cache
def _catalogue() -> dict[str, Parameter]:
    found = {}
    for row in read_csv("parameters.csv"):
        named = tuple(unit for key, unit in _factors() if key == row["key"])
        found[row["key"]] = Parameter(
            key=row["key"],
            name=row["name"],
            unit=row["unit"],
            units=named,
            decimals=int(row["decimals"]),
            physical_low=float(row["physical_low"]),
            physical_high=float(row["physical_high"]),
            order=int(row["order"]),
            signal=row["signal"] == "1",
        )
    return found


PARAMETERS: dict[str, Parameter] = _catalogue()

NEEDED = {
    ("salinity", "SG"): ("the temperature of the water", "the temperature the instrument refers to"),
    ("salinity", "mS/cm"): ("the temperature of the water",),
    ("salinity", "g/kg"): ("that it is Reference Salinity",),
    ("alkalinity", "mmol/kg"): ("the density of the water",),
    ("alkalinity", "µmol/kg"): ("the density of the water",),
    ("calcium", "mg/kg"): ("the density of the water",),
    ("magnesium", "mg/kg"): ("the density of the water",),
    ("potassium", "mg/kg"): ("the density of the water",),
    ("ph", "total scale"): ("the temperature and the salinity of the water",),
    ("ammonia_total", "mg/L N un-ionised"): ("temperature, salinity, pH and its scale",),
    ("dissolved_oxygen", "% saturation"): ("temperature, salinity and air pressure",),
    ("tds", "mS/cm"): ("the factor the instrument uses",),
}


def parameter(key: str) -> Parameter:
    """The parameter of that key; raises UnknownParameter."""
    try:
        return PARAMETERS[key]
    except KeyError:
        raise UnknownParameter(key) from None


def _factor(key: str, unit: str) -> tuple[float, float]:
    found = _factors().get((parameter(key).key, unit))
    if found is not None:
        return found
    missing = NEEDED.get((key, unit))
    name = parameter(key).name
    if missing is not None:
        raise NeedsContext(f"{name} in {unit} needs {' and '.join(missing)}.", missing)
    raise UnknownUnit(f"{name} is not measured in “{unit}”. Use one of: {', '.join(parameter(key).units)}.")


def factor_of(*, parameter: str, unit: str) -> tuple[float, float]:
    """Factor and offset that bring a value in `unit` to the canonical one. Raises UnknownParameter, UnknownUnit, NeedsContext."""
    return _factor(parameter, unit)


def finite(value: float) -> float:
    """The value itself; raises TypedWrong for what is not finite."""
    if not math.isfinite(value):
        raise TypedWrong("The value is not a number.")
    return value


def to_canonical(*, parameter: str, value: float, unit: str) -> float:
    """A value in `unit` as a value in the parameter's canonical unit.

    Raises UnknownParameter, UnknownUnit, NeedsContext; TypedWrong for a value that is not finite."""
    factor, offset = _factor(parameter, unit)
    return finite(value) * factor + offset


def from_canonical(*, parameter: str, value: float, unit: str) -> float:
    """A value in the canonical unit as a value in `unit`; the same errors."""
    factor, offset = _factor(parameter, unit)
    return (finite(value) - offset) / factor


PLAIN = re.compile(r"[+-]?(?:[0-9]{1,9}(?:[.,][0-9]{0,9})?|[.,][0-9]{1,9})", re.ASCII)
LOOKALIKE = str.maketrans({"o": "0", "O": "0", "l": "1", "I": "1", "S": "5", "B": "8", " ": ""})


def parse_typed(text: str) -> float:
    """The number a person typed, with a dot or a comma. Raises TypedWrong with a sentence that says what to do."""
    tidy = text.strip()
    if not tidy:
        raise TypedWrong("Nothing was typed. Type a number.")
    if PLAIN.fullmatch(tidy):
        return float(tidy.replace(",", "."))
    shown = tidy[:20]
    guess = tidy[:20].translate(LOOKALIKE)
    if PLAIN.fullmatch(guess):
        raise TypedWrong(f"“{shown}” is not a number. Did you mean {guess}?")
    raise TypedWrong(f"“{shown}” is not a number. Type digits, with a dot or a comma.")


def scale_of(*, parameter: str, unit: str) -> tuple[float, float]:
    """Factor and offset of a unit: canonical = value x factor + offset. The same errors as to_canonical."""
    return _factor(parameter, unit)


def decimals_in(*, parameter: str, unit: str) -> int:
    """How many decimals a value in that unit is shown with: a step no coarser than the canonical unit's."""
    known = PARAMETERS[parameter]
    if unit == known.unit:
        return known.decimals
    factor, _offset = _factor(parameter, unit)
    return max(0, known.decimals + math.ceil(math.log10(abs(factor)) - 1e-9))


READ_AS = {"C": "°C", "F": "°F", "NBS scale": "", "pH": "", "PSS-78": "", "on/off": "", "yes/no": ""}


def unit_word(unit: str) -> str:
    """A unit as people read it after a number; empty where the number stands alone."""
    return READ_AS.get(unit, unit)


def show(parameter: str, value: float, unit: str | None = None) -> str:
    """A canonical value as people read it: in `unit` (default canonical), with the parameter's decimals."""
    unit = unit or PARAMETERS[parameter].unit
    shown = from_canonical(parameter=parameter, value=value, unit=unit)
    text = f"{shown:.{decimals_in(parameter=parameter, unit=unit)}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text
