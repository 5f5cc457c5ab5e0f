"""How much to add: doses from strength and volume, within the safe daily change and with their uncertainty.

Arithmetic on IUPAC 2021 standard atomic weights (Prohaska et al. 2022, Pure Appl. Chem. 94, 573); the degree of
carbonate hardness is 10 mg CaO per litre (CaO 56.077 g/mol)."""

import math
from dataclasses import dataclass

from servicedesk.core.tables import read_csv

MEQ_PER_DKH = 20.0 / 56.077
CALCIUM_PER_MEQ = 40.078 / 2
CALCIUM_PER_DKH = CALCIUM_PER_MEQ * MEQ_PER_DKH
LOWER_BOUND_K = 2.0


class NoDose(ValueError):
    """The dose cannot be computed; the sentence says why."""


@dataclass(frozen=True)
class Dose:
    """`ml_total` reaches the goal in `days` days of `ml_per_day`; `ml_low` is the first day's safe lower bound:
    what reaches no further than the step even when the tank is smaller and the solution stronger than thought
    (two standard uncertainties). `u_ml` is the standard uncertainty of ml_total."""

    ml_total: float
    ml_low: float
    days: int
    ml_per_day: float
    u_ml: float


def grams_to_raise(*, salt: str, rise: float, net_l: float, purity: float = 1.0) -> float:
    """Grams of a salt (hydrate in its name, tables/salts.csv) that raise its parameter by `rise` canonical units in
    `net_l` litres. Raises NoDose for an unknown salt or a purity outside (0, 1]."""
    row = next((r for r in read_csv("salts.csv") if r["salt"] == salt), None)
    if row is None:
        raise NoDose(f"“{salt}” is not in the table of salts.")
    if not 0 < purity <= 1 or net_l <= 0 or rise < 0:
        raise NoDose("Purity lies above 0 and up to 1, the volume above 0, the rise at 0 or more.")
    per_unit = MEQ_PER_DKH if row["parameter"] == "alkalinity" else 1.0
    return rise * per_unit * net_l / 1000 * float(row["g_per_mol"]) / float(row["units_per_mol"]) / purity


def per_ml_of(*, salt: str, grams_per_litre: float, purity: float = 1.0) -> float:
    """Strength of a solution: canonical units times litres that 1 mL carries."""
    return grams_per_litre / 1000 / grams_to_raise(salt=salt, rise=1.0, net_l=1.0, purity=purity)


def rise_of(*, ml: float, per_ml: float, net_l: float) -> float:
    """By how much a dose raises a tank, in canonical units: mL times the strength over the net volume in litres."""
    return ml * per_ml / net_l


def dose_to_raise(
    *,
    parameter: str,
    from_value: float,
    to_value: float,
    net_l: float,
    per_ml: float,
    max_rise_per_day: float | None,
    net_l_u: float = 0.0,
    per_ml_u_rel: float = 0.0,
) -> Dose:
    """mL of a solution (`per_ml` canonical units x L per mL) that raise a parameter from one value to another,
    split so that no day rises by more than `max_rise_per_day`. Raises NoDose."""
    rise = to_value - from_value
    if net_l <= 0 or per_ml <= 0:
        raise NoDose(f"The volume and the strength for {parameter} must be above nought.")
    if rise <= 0:
        raise NoDose(f"{parameter} needs no raising: it is at its goal or above.")
    if max_rise_per_day is not None and max_rise_per_day <= 0:
        raise NoDose("The safe daily change must be above nought.")
    total = rise * net_l / per_ml
    days = 1 if max_rise_per_day is None else max(1, math.ceil(rise / max_rise_per_day - 1e-9))
    relative = math.hypot(net_l_u / net_l, per_ml_u_rel)
    daily = total / days
    return Dose(
        ml_total=total,
        ml_low=daily / (1 + LOWER_BOUND_K * relative),
        days=days,
        ml_per_day=daily,
        u_ml=total * relative,
    )


def uptake_calcium(*, alkalinity_dkh: float) -> float:
    """Calcium (mg/L) laid down with that much alkalinity (dKH) as calcium carbonate: 7.147 mg/L per dKH."""
    return alkalinity_dkh * CALCIUM_PER_DKH


LIMEWATER = ((15.0, 1.6467), (30.0, 1.5067))
"""°C and g/L of Ca(OH)2 in saturated limewater: 1.60 at 20 °C (CRC Handbook), about 1.53 at 25 to 30 °C, a straight line
through the two; both from memory, good to 0.1 g/L."""


def limewater_g_l(*, temperature_c: float) -> float:
    """g/L of calcium hydroxide in saturated limewater, 15 to 30 °C. It is caustic. Raises NoDose."""
    if not LIMEWATER[0][0] <= temperature_c <= LIMEWATER[-1][0]:
        raise NoDose("The strength of limewater is known here from 15 to 30 °C.")
    (low, strong), (high, weak) = LIMEWATER[0], LIMEWATER[-1]
    return strong + (weak - strong) * (temperature_c - low) / (high - low)
