"""What a salt or a solution raises: grams, strengths, what goes together. How much is safe on which day stands in `plans`.

Arithmetic on IUPAC 2021 standard atomic weights (Prohaska et al. 2022, Pure Appl. Chem. 94, 573); the degree of
carbonate hardness is 10 mg CaO per litre (CaO 56.077 g/mol)."""

from servicedesk.core.tables import read_csv

MEQ_PER_DKH = 20.0 / 56.077
CAUSTIC = ("NaOH", "Ca(OH)2")
"""Salts that are never in the hands of a client's people, nor given by a pump."""
CALCIUM_PER_MEQ = 40.078 / 2
CALCIUM_PER_DKH = CALCIUM_PER_MEQ * MEQ_PER_DKH


class NoDose(ValueError):
    """The dose cannot be computed; the sentence says why."""


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
