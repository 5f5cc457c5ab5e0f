"""The toxic part of ammonia: the fraction of total ammonia that is un-ionised NH3.

Fresh water: Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32, 2379: pKa = 0.09018 + 2729.92 / T
(T in K); 0 to 50 °C, pH 6 to 10, low ionic strength.
Sea water: pKa = 9.245 + 0.149 I + 0.0324 (25 - t), which gives the printed table of Bower & Bidwell 1978, J. Fish.
Res. Board Can. 35, 1012 (salinity 32 to 40, pH as a meter shows it after buffers on the NBS scale) within 2 % from 10
to 25 °C; up to 30 °C the line is carried on (common practice, no source). A pH on the total scale reads about 0.13 lower in the same water: mixed up, the fraction is wrong by a quarter. So the scale is named."""

from servicedesk.core.chemistry.salinity import OutOfRange

SCALES = ("NBS scale",)


def _fraction(*, pka: float, ph: float) -> float:
    return float(1 / (1 + 10 ** (pka - ph)))


def toxic_fraction_fresh(*, temperature_c: float, ph: float) -> float:
    """The fraction of total ammonia that is un-ionised NH3 in fresh water."""
    if not 0 <= temperature_c <= 50 or not 6 <= ph <= 10:
        raise OutOfRange("Holds from 0 to 50 °C and pH 6 to 10.")
    return _fraction(pka=0.09018 + 2729.92 / (temperature_c + 273.15), ph=ph)


def ionic_strength(*, salinity: float) -> float:
    """Ionic strength of sea water in mol/kg of water: 19.924 S / (1000 - 1.005 S), Dickson, Sabine & Christian 2007,
    Guide to best practices for ocean CO2 measurements, chapter 5."""
    return 19.924 * salinity / (1000 - 1.005 * salinity)


def toxic_fraction_sea(*, temperature_c: float, ph: float, salinity: float, scale: str) -> float:
    """The fraction of total ammonia that is un-ionised NH3 in sea water; `scale` is that of the pH ("NBS scale")."""
    if scale not in SCALES:
        raise OutOfRange(f"A pH on “{scale}” needs another constant. Give it on the NBS scale.")
    if not 5 <= temperature_c <= 30 or not 7.5 <= ph <= 8.6 or not 32 <= salinity <= 40:
        raise OutOfRange("Holds from 5 to 30 °C, pH 7.5 to 8.6 and salinity 32 to 40.")
    pka = 9.245 + 0.149 * ionic_strength(salinity=salinity) + 0.0324 * (25 - temperature_c)
    return _fraction(pka=pka, ph=ph)
