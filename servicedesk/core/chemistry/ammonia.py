"""The toxic part of ammonia in fresh water.

Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32, 2379: pKa = 0.09018 + 2729.92 / T (T in K);
0 to 50 °C, pH 6 to 10, low ionic strength."""


class OutOfRange(ValueError):
    """Outside the range in which the formula holds."""


def toxic_fraction_fresh(*, temperature_c: float, ph: float) -> float:
    """The fraction of total ammonia that is un-ionised NH3 in fresh water."""
    if not 0 <= temperature_c <= 50 or not 6 <= ph <= 10:
        raise OutOfRange("Holds from 0 to 50 °C and pH 6 to 10.")
    pka = 0.09018 + 2729.92 / (temperature_c + 273.15)
    return float(1 / (1 + 10 ** (pka - ph)))
