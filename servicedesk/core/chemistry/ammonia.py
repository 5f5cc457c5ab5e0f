"""The toxic part of ammonia: the fraction of total ammonia that is un-ionised NH3.

Fresh water: Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32, 2379: pKa = 0.09018 + 2729.92 / T
(T in K); 0 to 50 °C, pH 6 to 10, low ionic strength.
Sea water: pKa = 9.245 + 0.149 I + 0.0324 (25 - t), which gives the printed table of Bower & Bidwell 1978, J. Fish.
Res. Board Can. 35, 1012 (salinity 32 to 40, pH as a meter shows it after buffers on the NBS scale) within 2 % from 10
to 25 °C; up to 30 °C the line is carried on (common practice, no source). A pH on the total scale reads about 0.13 lower in the same water: mixed up, the fraction is wrong by a quarter. So the scale is named.
A pH on the total scale: Clegg & Whitfield 1995, Geochim. Cosmochim. Acta 59, 2403, eq. 18; salinity 0 to 40, -2 to 40 °C.
Criteria: US EPA 2013, Aquatic Life Ambient Water Quality Criteria for Ammonia, Freshwater, EPA 822-R-13-001: what rivers and
lakes are held to, shown for comparison and never a tank's band."""

import math

from servicedesk.core.chemistry.salinity import OutOfRange

SCALES = ("NBS scale", "total scale")
FRESH_PK = 0.09018, 2729.92
"""pKa = first + second / T (K)."""
SEA_PK = 9.245, 0.149, 0.0324
"""pKa = first + second I + third (25 - t), a pH on the NBS scale."""
IONIC = 19.924, 1.005
"""I = first S / (1000 - second S)."""


def _fraction(*, pka: float, ph: float) -> float:
    return float(1 / (1 + 10 ** (pka - ph)))


def toxic_fraction_fresh(*, temperature_c: float, ph: float) -> float:
    """The fraction of total ammonia that is un-ionised NH3 in fresh water."""
    if not 0 <= temperature_c <= 50 or not 6 <= ph <= 10:
        raise OutOfRange("Holds from 0 to 50 °C and pH 6 to 10.")
    return _fraction(pka=FRESH_PK[0] + FRESH_PK[1] / (temperature_c + 273.15), ph=ph)


def ionic_strength(*, salinity: float) -> float:
    """Ionic strength of sea water in mol/kg of water: 19.924 S / (1000 - 1.005 S), Dickson, Sabine & Christian 2007,
    Guide to best practices for ocean CO2 measurements, chapter 5."""
    return IONIC[0] * salinity / (1000 - IONIC[1] * salinity)


def toxic_fraction_sea(*, temperature_c: float, ph: float, salinity: float, scale: str) -> float:
    """The fraction of total ammonia that is un-ionised NH3 in sea water; `scale` is that of the pH (one of SCALES)."""
    if scale not in SCALES:
        raise OutOfRange(f"A pH on “{scale}” needs another constant. Give it on one of: {', '.join(SCALES)}.")
    if scale == "total scale":
        if not 5 <= ph <= 10:
            raise OutOfRange("Holds for pH 5 to 10.")
        return _fraction(pka=pk_total_scale(temperature_c=temperature_c, salinity=salinity), ph=ph)
    if not 5 <= temperature_c <= 30 or not 7.5 <= ph <= 8.6 or not 32 <= salinity <= 40:
        raise OutOfRange("Holds from 5 to 30 °C, pH 7.5 to 8.6 and salinity 32 to 40.")
    pka = SEA_PK[0] + SEA_PK[1] * ionic_strength(salinity=salinity) + SEA_PK[2] * (25 - temperature_c)
    return _fraction(pka=pka, ph=ph)


def pk_total_scale(*, temperature_c: float, salinity: float, per_kg_water: bool = False) -> float:
    """pK of ammonium on the total scale, moles per kg of sea water (or per kg of its water)."""
    if not -2 <= temperature_c <= 40 or not 0 <= salinity <= 40:
        raise OutOfRange("Holds from -2 to 40 °C and for salinity 0 to 40.")
    t, s = temperature_c + 273.15, salinity
    root = math.sqrt(t)
    pk = 9.244605 - 2729.33 * (1 / 298.15 - 1 / t)
    pk += (0.04203362 - 11.24742 / t) * s**0.25
    pk += (-13.6416 + 1.176949 * root - 0.02860785 * t + 545.4834 / t) * s**0.5
    pk += (-0.1462507 + 0.0090226468 * root - 0.0001471361 * t + 10.5425 / t) * s**1.5
    pk += (0.004669309 - 0.0001691742 * root - 0.5677934 / t) * s**2
    pk += (-2.354039e-05 + 0.009698623 / t) * s**2.5
    return float(pk) if per_kg_water else float(pk) - math.log10(1 - 0.001005 * s)


def _by_ph(ph: float, *, acid: float, base: float, middle: float) -> float:
    """The two limbs of the criteria."""
    return float(acid / (1 + 10 ** (middle - ph)) + base / (1 + 10 ** (ph - middle)))


def _criterion_range(ph: float, temperature_c: float) -> None:
    if not 6.5 <= ph <= 9 or not 0 <= temperature_c <= 30:
        raise OutOfRange("The criteria are given for pH 6.5 to 9 and 0 to 30 °C.")


def acute_criterion_mg_l_n(*, ph: float, temperature_c: float) -> float:
    """What total ammonia in mg/L N may not exceed for an hour on average, with salmonids present (EPA 2013)."""
    _criterion_range(ph, temperature_c)
    fish = _by_ph(ph, acid=0.275, base=39.0, middle=7.204)
    mussels = (
        0.7249
        * _by_ph(ph, acid=0.0114, base=1.6181, middle=7.204)
        * 23.12
        * 10 ** (0.036 * (20 - temperature_c))
    )
    return min(fish, mussels)


def chronic_criterion_mg_l_n(*, ph: float, temperature_c: float) -> float:
    """What total ammonia in mg/L N may not exceed over thirty days on average (EPA 2013)."""
    _criterion_range(ph, temperature_c)
    warm = 2.126 * 10 ** (0.028 * (20 - max(temperature_c, 7)))
    return 0.8876 * _by_ph(ph, acid=0.0278, base=1.1994, middle=7.688) * warm
