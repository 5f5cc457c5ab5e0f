"""What a correction does besides: pH, precipitation, salt left behind, and what nitrate has to do with alkalinity.

Sea water. The pH is that of the closed system before it has breathed out: carbonate.py's constants, alkalinity and dissolved
carbon added together; it comes back within hours as gas is exchanged (common practice). Stoichiometry on the weights of
`formulas`."""

import math
from dataclasses import dataclass

from servicedesk.core.chemistry.carbonate import Carbonate, from_ph, ph_from_dic
from servicedesk.core.chemistry.dosing import CALCIUM_PER_DKH, MEQ_PER_DKH
from servicedesk.core.chemistry.formulas import molar_mass
from servicedesk.core.chemistry.salinity import OutOfRange, density

CARBON_PER_EQUIVALENT = {"NaHCO3": 1.0, "Na2CO3": 0.5, "NaOH": 0.0, "Ca(OH)2": 0.0}
"""Moles of carbon that a salt brings with an equivalent of alkalinity."""
PRECIPITATES = 10.0
"""Saturation of aragonite above which it must be reckoned with falling out on heaters and pumps (common practice, no source)."""
NITRATE_PER_MEQ = molar_mass("NO3")
"""mg/L of nitrate that cost one meq/L of alkalinity when made from the nitrogen of food, and give it back when taken away: a
mole for a mole (Wolf-Gladrow et al. 2007, Marine Chemistry 106, 287: explicit conservative alkalinity)."""


@dataclass(frozen=True)
class Water:
    """Sea water as it was tested: alkalinity in dKH, pH on the total scale, practical salinity, °C, calcium in mg/L."""

    alkalinity_dkh: float
    ph_total: float
    salinity: float
    temperature_c: float
    calcium_mg_l: float | None = None

    @property
    def kg_per_l(self) -> float:
        return density(salinity=self.salinity, temperature_c=self.temperature_c) / 1000

    def umol_kg(self, dkh: float) -> float:
        """dKH as µmol of equivalents a kg."""
        return dkh * MEQ_PER_DKH * 1000 / self.kg_per_l

    def carbonate(self) -> Carbonate:
        """Its carbonate system. Raises OutOfRange."""
        calcium = None
        if self.calcium_mg_l is not None:
            calcium = self.calcium_mg_l / molar_mass("Ca") * 1000 / self.kg_per_l
        return from_ph(
            alkalinity_umol_kg=self.umol_kg(self.alkalinity_dkh),
            ph_total=self.ph_total,
            salinity=self.salinity,
            temperature_c=self.temperature_c,
            calcium_umol_kg=calcium,
        )


@dataclass(frozen=True)
class After:
    """pH (total scale), its change, and the saturation of aragonite just after a dose; whether that precipitates."""

    ph_total: float
    rise: float
    aragonite: float
    precipitates: bool


def after_alkalinity(*, water: Water, rise_dkh: float, salt: str) -> After:
    """The water just after that much alkalinity was added as that salt. Raises OutOfRange for a salt that is not known, and
    where the constants do not hold."""
    if salt not in CARBON_PER_EQUIVALENT:
        raise OutOfRange(f"The pH is known for these: {', '.join(CARBON_PER_EQUIVALENT)}.")
    if not 0 <= rise_dkh <= 20:
        raise OutOfRange("A rise lies between 0 and 20 dKH.")
    before = water.carbonate()
    added = water.umol_kg(rise_dkh)
    ph = ph_from_dic(
        alkalinity_umol_kg=water.umol_kg(water.alkalinity_dkh) + added,
        dic_umol_kg=before.dic_umol_kg + added * CARBON_PER_EQUIVALENT[salt],
        salinity=water.salinity,
        temperature_c=water.temperature_c,
    )
    calcium = water.calcium_mg_l
    if salt == "Ca(OH)2" and calcium is not None:
        calcium += rise_dkh * CALCIUM_PER_DKH
    changed = Water(water.alkalinity_dkh + rise_dkh, ph, water.salinity, water.temperature_c, calcium)
    aragonite = changed.carbonate().aragonite
    return After(ph, ph - water.ph_total, aragonite, aragonite > PRECIPITATES)


def salt_left_mg_l(*, alkalinity_dkh: float) -> float:
    """mg/L of sodium chloride that stay when that much alkalinity as a sodium salt and as much calcium as chloride were laid
    down: two moles with each mole of calcium carbonate."""
    if not 0 <= alkalinity_dkh < 1000:
        raise OutOfRange("An amount lies at nought or above.")
    return alkalinity_dkh * MEQ_PER_DKH * molar_mass("NaCl")


def alkalinity_of_nitrate_dkh(*, rise_mg_l: float) -> float:
    """dKH by which alkalinity falls (rises, for a negative rise) as nitrate is made from food (taken away)."""
    if not abs(rise_mg_l) < 3000:
        raise OutOfRange("Nitrate lies between 0 and 3000 mg/L.")
    return -rise_mg_l / NITRATE_PER_MEQ / MEQ_PER_DKH


def carbon_dioxide_mg_l(*, carbonate_hardness_dkh: float, ph: float, temperature_c: float) -> float:
    """mg/L of carbon dioxide in fresh water from carbonate hardness and pH, where nothing but carbonate buffers.

    Wood, peat, phosphate and other acids make it far too high: an estimate, never a measurement. Plummer & Busenberg 1982,
    Geochim. Cosmochim. Acta 46, 1011 (K1 of carbonic acid, 0 to 90 °C; the numbers are from memory); no ionic strength counted.
    Raises OutOfRange."""
    if not 0 <= temperature_c <= 50 or not 5 <= ph <= 8.5 or not 0 <= carbonate_hardness_dkh <= 40:
        raise OutOfRange("Holds from 0 to 50 °C, pH 5 to 8.5 and 0 to 40 dKH.")
    t = temperature_c + 273.15
    log_k1 = -356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * math.log10(t) - 1684915 / t**2
    bicarbonate_mmol = carbonate_hardness_dkh * MEQ_PER_DKH
    return float(bicarbonate_mmol * 10 ** (-ph - log_k1) * molar_mass("CO2"))
