"""What a standard is worth at its temperature: pH buffers and solutions of potassium chloride, by published tables.

tables/standards.csv holds the values with their sources: pH of the primary buffers (IUPAC Recommendations 2002; typed from
memory, each compared with a public table of the NBS values: phthalate differs by 0.001 at 20 °C, the others agree to the last
digit or its rounding), conductivity of potassium chloride in mS/cm (IUPAC Technical Report 2001, after Wu et al. 1991 and
1994, J. Res. NIST 96, 191 and 99, 241). Between two temperatures of the table a straight line is drawn: the bend of the values
makes that wrong by 0.001 pH, and by 0.03 % of conductivity at room temperature, 0.1 % near freezing. A standard that is not in the table is worth
what its label says; conductivity moves with temperature by a coefficient. °C throughout."""

from bisect import bisect_left
from dataclasses import dataclass
from functools import cache

from servicedesk.core.chemistry import salinity
from servicedesk.core.chemistry.salinity import OutOfRange
from servicedesk.core.tables import read_csv

LABEL, LABEL_MS_CM = "label", "label_ms_cm"
"""Stand for a standard that is in no table: its label says what it is worth, in the parameter's own unit or in mS/cm."""
BUFFER_GOOD_TO, SOLUTION_GOOD_TO = 0.02, 0.01
"""How good a bottle is where its label does not say: pH, and a fraction of conductivity (common practice)."""
PER_KELVIN = 0.0191
"""Fraction by which the conductivity of a standard rises with each kelvin, of its value at 25 °C (common practice)."""


@dataclass(frozen=True)
class Standard:
    """A published standard: its parameter, name, and values by temperature in the parameter's canonical unit."""

    parameter: str
    key: str
    name: str
    values: tuple[tuple[float, float], ...]
    source: str


@cache
def standards() -> dict[str, Standard]:
    """All published standards by their key."""
    found: dict[str, Standard] = {}
    for row in read_csv("standards.csv"):
        key, pair = row["key"], (float(row["temperature_c"]), float(row["value"]))
        before = found[key].values if key in found else ()
        found[key] = Standard(row["parameter"], key, row["name"], (*before, pair), row["source"])
    return found


def standards_for(parameter: str) -> list[Standard]:
    """Published standards of a parameter, in the order of the table."""
    return [standard for standard in standards().values() if standard.parameter == parameter]


def value_at(*, key: str, temperature_c: float) -> float:
    """What a published standard is worth at that temperature (pH, or mS/cm). Raises OutOfRange outside its table."""
    values = standards()[key].values
    first, last = values[0][0], values[-1][0]
    if not first <= temperature_c <= last:
        raise OutOfRange(f"Its table holds from {first:g} to {last:g} °C.")
    at = max(1, bisect_left(values, (temperature_c,)))
    (t0, v0), (t1, v1) = values[at - 1], values[at]
    return v0 + (v1 - v0) * (temperature_c - t0) / (t1 - t0)


def conductivity_at(
    *, value: float, value_c: float, temperature_c: float, per_kelvin: float = PER_KELVIN
) -> float:
    """mS/cm at a temperature, from the label's at `value_c`; the coefficient is a fraction of the value at 25 °C for each kelvin."""
    at_label, here = 1 + per_kelvin * (value_c - 25), 1 + per_kelvin * (temperature_c - 25)
    if not -2 <= temperature_c <= 50 or at_label <= 0 or here <= 0:
        raise OutOfRange("Holds from -2 to 50 °C.")
    return value * here / at_label


def salinity_of(*, conductivity_ms_cm: float, temperature_c: float) -> float:
    """The practical salinity that a meter should show in a standard of that conductivity at that temperature (PSS-78)."""
    return salinity.practical_from_conductivity(
        conductivity_ms_cm=conductivity_ms_cm, temperature_c=temperature_c
    )


def cell_factor(
    *, parameter: str, reference: float, shown: float, temperature_c: float
) -> tuple[float, float]:
    """By what a cell constant is to be multiplied, and the power with which that factor follows the value shown: conductivity itself
    for a meter of conductivity; for one of salinity the ratio of the conductivities that belong to the two salinities. Raises
    OutOfRange."""
    if reference <= 0 or shown <= 0:
        raise OutOfRange("A standard's value, and what is shown of it, lie above nought.")
    if parameter != "salinity":
        return reference / shown, 1.0
    true, seen = (
        salinity.conductivity(salinity=value, temperature_c=temperature_c) for value in (reference, shown)
    )
    step = 1.001 * shown if shown <= 41 else shown / 1.001
    beside = salinity.conductivity(salinity=step, temperature_c=temperature_c)
    power = (beside / seen - 1) / (step / shown - 1)
    return true / seen, power
