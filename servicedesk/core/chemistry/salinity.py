"""Salinity, density and specific gravity of sea water, by TEOS-10 (IOC, SCOR and IAPSO 2010, Manual and Guides 56).

Practical salinity on PSS-78; temperatures in °C (ITS-90); surface pressure. gsw is loaded when first needed: it
brings numpy, which most pages do without."""

from typing import Any


class OutOfRange(ValueError):
    """Outside the range in which the formula holds."""


def _gsw() -> Any:
    import gsw  # noqa: PLC0415  heavy: brings numpy, needed only here

    return gsw


def practical_from_conductivity(*, conductivity_ms_cm: float, temperature_c: float) -> float:
    """Practical salinity from conductivity (mS/cm) at that temperature; -2 to 35 °C, above 0."""
    if not -2 <= temperature_c <= 35 or conductivity_ms_cm <= 0:
        raise OutOfRange("Holds from -2 to 35 °C and for a conductivity above nought.")
    return float(_gsw().SP_from_C(conductivity_ms_cm, temperature_c, 0))


def conductivity(*, salinity: float, temperature_c: float) -> float:
    """Conductivity in mS/cm that water of that practical salinity shows at that temperature; 0 to 42, -2 to 35 °C."""
    if not -2 <= temperature_c <= 35 or not 0 < salinity <= 42:
        raise OutOfRange("Holds from -2 to 35 °C and for salinity above 0 up to 42.")
    return float(_gsw().C_from_SP(salinity, temperature_c, 0))


def reference_salinity(*, salinity: float) -> float:
    """Dissolved salts in g/kg: Reference Salinity, 35.16504/35 of practical salinity (Millero et al. 2008)."""
    return salinity * 35.16504 / 35


def density(*, salinity: float, temperature_c: float) -> float:
    """Density in kg/m3; 0 to 42, -2 to 40 °C."""
    if not 0 <= salinity <= 42 or not -2 <= temperature_c <= 40:
        raise OutOfRange("Holds for salinity 0 to 42 and -2 to 40 °C.")
    return float(_gsw().rho_t_exact(reference_salinity(salinity=salinity), temperature_c, 0))


def salts_g(*, litres: float, salinity: float, temperature_c: float) -> float:
    """Grams of dissolved salts in that many litres. What must be weighed in of a dry mix is more: mixes hold water of
    crystallisation and moisture, and say their own yield."""
    per_litre = density(salinity=salinity, temperature_c=temperature_c) / 1000
    return litres * per_litre * reference_salinity(salinity=salinity)


def specific_gravity(*, salinity: float, temperature_c: float, reference_c: float) -> float:
    """Relative density: sea water at `temperature_c` over pure water at `reference_c`. Both must be said."""
    return density(salinity=salinity, temperature_c=temperature_c) / density(
        salinity=0, temperature_c=reference_c
    )


def practical_from_specific_gravity(*, gravity: float, temperature_c: float, reference_c: float) -> float:
    """The salinity whose specific gravity this is, by halving; to 1e-6."""
    low, high = 0.0, 42.0
    least = specific_gravity(salinity=low, temperature_c=temperature_c, reference_c=reference_c)
    most = specific_gravity(salinity=high, temperature_c=temperature_c, reference_c=reference_c)
    if not least <= gravity <= most:
        raise OutOfRange(f"A specific gravity of {gravity:g} is not sea water at these temperatures.")
    while high - low > 1e-6:
        middle = (low + high) / 2
        if specific_gravity(salinity=middle, temperature_c=temperature_c, reference_c=reference_c) < gravity:
            low = middle
        else:
            high = middle
    return (low + high) / 2
