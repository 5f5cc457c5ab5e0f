"""Salinity, density and specific gravity of sea water, by TEOS-10 (IOC, SCOR and IAPSO 2010, Manual and Guides 56).

Practical salinity on PSS-78; temperatures in °C (ITS-90); surface pressure. gsw is loaded when first needed: it
brings numpy, which most pages do without."""

from typing import Any


class OutOfRange(ValueError):
    """Outside the range in which the formula holds."""


def _gsw() -> Any:
    import gsw  # noqa: PLC0415  heavy: brings numpy, needed only here

    return gsw


CONDUCTIVITY_35_15 = 42.9140
"""mS/cm at practical salinity 35, 15 °C (IPTS-68) and the surface (UNESCO Technical Papers in Marine Science 44)."""


def practical_from_conductivity(
    *, conductivity_ms_cm: float, temperature_c: float, pressure_dbar: float = 0.0
) -> float:
    """Practical salinity from conductivity (mS/cm) at that temperature; pressure beyond that of the air, 0 to 10,000 dbar.
    PSS-78 is defined from -2 to 35 °C; it is carried on to 40 °C, for which UNESCO 44 prints a check value."""
    if not -2 <= temperature_c <= 40 or conductivity_ms_cm <= 0:
        raise OutOfRange("Holds from -2 to 40 °C and for a conductivity above nought.")
    if not 0 <= pressure_dbar <= 10_000:
        raise OutOfRange("Holds for a pressure of 0 to 10,000 dbar.")
    return float(_gsw().SP_from_C(conductivity_ms_cm, temperature_c, pressure_dbar))


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


def density_eos80(*, salinity: float, temperature_68_c: float) -> float:
    """Density in kg/m3 at the surface by the older equation of state, with which many tables and glass hydrometers were
    made (EOS-80, UNESCO Technical Papers in Marine Science 44; temperature on IPTS-68, -2 to 40 °C, salinity 0 to 42)."""
    if not 0 <= salinity <= 42 or not -2 <= temperature_68_c <= 40:
        raise OutOfRange("Holds for salinity 0 to 42 and -2 to 40 °C.")
    t, s = temperature_68_c, salinity
    fresh = 999.842594 + 6.793952e-2 * t - 9.095290e-3 * t**2 + 1.001685e-4 * t**3
    fresh += -1.120083e-6 * t**4 + 6.536332e-9 * t**5
    linear = 8.24493e-1 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    bent = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    return float(fresh + linear * s + bent * s**1.5 + 4.8314e-4 * s**2)


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
