"""Dissolved oxygen at saturation.

Garcia & Gordon 1992, Limnol. Oceanogr. 37, 1307 (coefficients fitted to Benson & Krause), as TEOS-10's toolbox has
it: 0 to 40 °C, salinity 0 to 42, one atmosphere of moist air. Other air pressures scale with what is left above the
vapour pressure of water (Magnus form, WMO 2021, Guide No. 8, annex 4.B)."""

import math
from typing import Any

from servicedesk.core.chemistry.salinity import OutOfRange, density

O2_G_PER_MOL = 31.998
ONE_ATMOSPHERE_HPA = 1013.25


def _gsw() -> Any:
    import gsw  # noqa: PLC0415  heavy: brings numpy, needed only here

    return gsw


def vapour_pressure_hpa(*, temperature_c: float) -> float:
    """Vapour pressure over pure water in hPa."""
    return 6.112 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


def saturation_umol_kg(*, salinity: float, temperature_c: float) -> float:
    """Oxygen in µmol/kg of water in balance with one atmosphere of moist air."""
    if not 0 <= salinity <= 42 or not 0 <= temperature_c <= 40:
        raise OutOfRange("Holds for salinity 0 to 42 and 0 to 40 °C.")
    return float(_gsw().O2sol_SP_pt(salinity, temperature_c))


def saturation_mg_l(
    *, salinity: float, temperature_c: float, pressure_hpa: float = ONE_ATMOSPHERE_HPA
) -> float:
    """Oxygen in mg/L of water in balance with moist air at that pressure (hPa, as measured on the spot)."""
    vapour = vapour_pressure_hpa(temperature_c=temperature_c)
    if pressure_hpa <= vapour:
        raise OutOfRange("The air pressure must be above the vapour pressure of water.")
    at_one = saturation_umol_kg(salinity=salinity, temperature_c=temperature_c) * O2_G_PER_MOL / 1e6
    share = (pressure_hpa - vapour) / (ONE_ATMOSPHERE_HPA - vapour)
    return at_one * density(salinity=salinity, temperature_c=temperature_c) * share
