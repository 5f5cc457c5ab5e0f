"""Volumes by weighing: the density of pure water, and what a gram on the scale is in mL."""

AIR_KG_M3, WEIGHTS_KG_M3 = 1.2, 8000.0
"""Conventional air and weights (OIML D 28)."""


class NoVolume(ValueError):
    """It cannot be reckoned; the sentence says why."""


def water_density_kg_m3(*, temperature_c: float) -> float:
    """Density of air-free pure water at 101325 Pa, 0 to 40 °C: Tanaka, Girard, Davis, Peuto & Bignell 2001, Metrologia
    38, 301; standard uncertainty below 0.001 kg/m3."""
    if not 0 <= temperature_c <= 40:
        raise NoVolume("The density of water is known here from 0 to 40 °C.")
    t = temperature_c
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def ml_per_gram(*, temperature_c: float) -> float:
    """The Z factor: mL of water to a gram read on a scale in air (ISO 8655-6, ISO 4787)."""
    water = water_density_kg_m3(temperature_c=temperature_c)
    return 1000 * (1 - AIR_KG_M3 / WEIGHTS_KG_M3) / (water - AIR_KG_M3)


def diluted(*, strength: float, taken_ml: float, made_up_to_ml: float) -> float:
    """The strength after so many mL were made up to so many: c1 V1 = c2 V2."""
    if taken_ml < 0 or made_up_to_ml <= 0 or taken_ml > made_up_to_ml:
        raise NoVolume("What is taken lies between nothing and what it is made up to.")
    return strength * taken_ml / made_up_to_ml
