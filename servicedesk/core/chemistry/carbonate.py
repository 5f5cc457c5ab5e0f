"""The carbonate system of sea water from its alkalinity and pH: dissolved carbon, carbon dioxide, aragonite.

Constants on the total scale in mol per kg of sea water, surface pressure, after Dickson, Sabine & Christian 2007, Guide to
best practices for ocean CO2 measurements (PICES Special Publication 3), chapter 5: K0 Weiss 1974, K1 and K2 Lueker,
Dickson & Keeling 2000, boric acid Dickson 1990, water Millero 1995, bisulphate Dickson 1990, hydrogen fluoride Dickson
& Riley 1979, totals of boron (Uppström 1974), sulphate (Morris & Riley 1966) and fluoride (Riley 1965) in proportion to
salinity; solubility products Mucci 1983. They hold for salinity 19 to 43 and 2 to 35 °C. Phosphate, silicate and organic
alkalinity are taken to be nothing, which in a tank rich in phosphate makes the carbonate a little too high."""

import math
from dataclasses import dataclass

from servicedesk.core.chemistry.ammonia import ionic_strength
from servicedesk.core.chemistry.salinity import OutOfRange

CHLORINITY = 1.80655
SCALES = ("total", "free", "seawater", "NBS")
PH_LOW, PH_HIGH = 3.0, 11.0


def _checked(salinity: float, temperature_c: float) -> float:
    """The temperature in K, inside the range in which the constants hold."""
    if not 19 <= salinity <= 43 or not 2 <= temperature_c <= 35:
        raise OutOfRange("The carbonate constants hold for salinity 19 to 43 and 2 to 35 °C.")
    return temperature_c + 273.15


@dataclass(frozen=True)
class Constants:
    """Of one water: equilibrium constants on the total scale and totals, mol/kg; `k_sulphate` and `k_fluoride`
    on the free scale."""

    k0: float
    k1: float
    k2: float
    k_borate: float
    k_water: float
    k_sulphate: float
    k_fluoride: float
    aragonite: float
    calcite: float
    borate: float
    sulphate: float
    fluoride: float
    calcium: float


def constants(*, salinity: float, temperature_c: float) -> Constants:
    """The constants at that practical salinity and temperature. Raises OutOfRange."""
    t, s = _checked(salinity, temperature_c), salinity
    root, log = math.sqrt(s), math.log(t)
    strength = ionic_strength(salinity=s)
    hundred = t / 100
    ln_k0 = 93.4517 / hundred - 60.2409 + 23.3585 * math.log(hundred)
    ln_k0 += s * (0.023517 - 0.023656 * hundred + 0.0047036 * hundred**2)
    ln_borate = (-8966.90 - 2890.53 * root - 77.942 * s + 1.728 * s * root - 0.0996 * s**2) / t
    ln_borate += 148.0248 + 137.1942 * root + 1.62142 * s
    ln_borate += (-24.4344 - 25.085 * root - 0.2474 * s) * log + 0.053105 * root * t
    ln_water = 148.9652 - 13847.26 / t - 23.6521 * log
    ln_water += (118.67 / t - 5.977 + 1.0495 * log) * root - 0.01615 * s
    ln_sulphate = -4276.1 / t + 141.328 - 23.093 * log
    ln_sulphate += (-13856 / t + 324.57 - 47.986 * log) * math.sqrt(strength)
    ln_sulphate += (35474 / t - 771.54 + 114.723 * log) * strength - 2698 / t * strength**1.5
    ln_sulphate += 1776 / t * strength**2 + math.log(1 - 0.001005 * s)
    log_t = math.log10(t)
    aragonite = -171.945 - 0.077993 * t + 2903.293 / t + 71.595 * log_t
    aragonite += (-0.068393 + 0.0017276 * t + 88.135 / t) * root - 0.10018 * s + 0.0059415 * s * root
    calcite = -171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * log_t
    calcite += (-0.77712 + 0.0028426 * t + 178.34 / t) * root - 0.07711 * s + 0.0041249 * s * root
    share = s / CHLORINITY
    return Constants(
        k0=math.exp(ln_k0),
        k1=10 ** -(3633.86 / t - 61.2172 + 9.67770 * log - 0.011555 * s + 0.0001152 * s**2),
        k2=10 ** -(471.78 / t + 25.9290 - 3.16967 * log - 0.01781 * s + 0.0001122 * s**2),
        k_borate=math.exp(ln_borate),
        k_water=math.exp(ln_water),
        k_sulphate=math.exp(ln_sulphate),
        k_fluoride=math.exp(1590.2 / t - 12.641 + 1.525 * math.sqrt(strength) + math.log(1 - 0.001005 * s)),
        aragonite=10**aragonite,
        calcite=10**calcite,
        borate=0.000232 / 10.811 * share,
        sulphate=0.14 / 96.062 * share,
        fluoride=0.000067 / 18.998 * share,
        calcium=0.02128 / 40.087 * share,
    )


def _over_total(known: Constants, *, salinity: float, temperature_c: float, scale: str) -> float:
    """log10 of what one unit of H+ on the total scale counts on another one."""
    free = 1 / (1 + known.sulphate / known.k_sulphate)
    if scale == "total":
        return 0.0
    if scale == "free":
        return math.log10(free)
    seawater = free * (1 + known.sulphate / known.k_sulphate + known.fluoride / known.k_fluoride)
    if scale == "seawater":
        return math.log10(seawater)
    t = temperature_c + 273.15
    activity = 1.2948 - 0.002036 * t + (0.0004607 - 0.000001475 * t) * salinity**2
    return math.log10(seawater * activity)


def ph_on(*, ph: float, scale: str, to: str, salinity: float, temperature_c: float) -> float:
    """A pH moved from one scale to another ("total", "free", "seawater", "NBS"). A meter after NBS buffers shows the NBS
    scale only roughly: the activity coefficient is that of Takahashi et al. 1982 (GEOSECS), good to 0.005 at best.
    Raises OutOfRange for an unknown scale, and outside salinity 19 to 43 and 2 to 35 °C."""
    if scale not in SCALES or to not in SCALES:
        raise OutOfRange(f"A pH stands on one of these scales: {', '.join(SCALES)}.")
    known = constants(salinity=salinity, temperature_c=temperature_c)
    here, there = (
        _over_total(known, salinity=salinity, temperature_c=temperature_c, scale=name) for name in (scale, to)
    )
    return ph + here - there


@dataclass(frozen=True)
class Carbonate:
    """Dissolved inorganic carbon (µmol/kg), its carbon dioxide as partial pressure (µatm) and concentration (µmol/kg),
    saturation of aragonite and calcite (1: neither dissolves nor grows), and the pH on the total scale."""

    dic_umol_kg: float
    pco2_uatm: float
    co2_umol_kg: float
    aragonite: float
    calcite: float
    ph_total: float


def _alkalinity_besides(known: Constants, h: float) -> float:
    """Alkalinity in mol/kg that is not carbonate at that H+ (total scale)."""
    free = h / (1 + known.sulphate / known.k_sulphate)
    return (
        known.borate * known.k_borate / (known.k_borate + h)
        + known.k_water / h
        - free
        - known.sulphate / (1 + known.k_sulphate / free)
        - known.fluoride / (1 + known.k_fluoride / free)
    )


def _fugacity_share(temperature_c: float) -> float:
    """Fugacity over partial pressure of carbon dioxide in air at 1 atm (Weiss 1974)."""
    t = temperature_c + 273.15
    virial = -1636.75 + 12.0408 * t - 0.0327957 * t**2 + 3.16528e-5 * t**3
    return math.exp((virial + 2 * (57.7 - 0.118 * t)) * 1.01325 / (83.14462618 * t))


def from_ph(
    *,
    alkalinity_umol_kg: float,
    ph_total: float,
    salinity: float,
    temperature_c: float,
    calcium_umol_kg: float | None = None,
) -> Carbonate:
    """The carbonate system from total alkalinity (µmol/kg) and pH on the total scale. Without a measured calcium that of
    sea water of this salinity counts. Raises OutOfRange, also where such an alkalinity cannot have such a pH."""
    if not PH_LOW <= ph_total <= PH_HIGH:
        raise OutOfRange(f"A pH lies between {PH_LOW:g} and {PH_HIGH:g}.")
    known = constants(salinity=salinity, temperature_c=temperature_c)
    if calcium_umol_kg is not None and calcium_umol_kg < 0:
        raise OutOfRange("Calcium lies at nought or above.")
    h = 10**-ph_total
    carbonate_alkalinity = alkalinity_umol_kg * 1e-6 - _alkalinity_besides(known, h)
    if not carbonate_alkalinity > 0:
        raise OutOfRange("So low an alkalinity cannot have so high a pH: one of the two is wrong.")
    co2 = carbonate_alkalinity * h * h / (known.k1 * (h + 2 * known.k2))
    carbonate = co2 * known.k1 * known.k2 / (h * h)
    dic = co2 * (1 + known.k1 / h + known.k1 * known.k2 / (h * h))
    calcium = known.calcium if calcium_umol_kg is None else calcium_umol_kg * 1e-6
    return Carbonate(
        dic_umol_kg=dic * 1e6,
        pco2_uatm=co2 / known.k0 / _fugacity_share(temperature_c) * 1e6,
        co2_umol_kg=co2 * 1e6,
        aragonite=carbonate * calcium / known.aragonite,
        calcite=carbonate * calcium / known.calcite,
        ph_total=ph_total,
    )


def ph_from_dic(
    *, alkalinity_umol_kg: float, dic_umol_kg: float, salinity: float, temperature_c: float
) -> float:
    """The pH (total scale) of that alkalinity and dissolved carbon (µmol/kg), by halving; to 1e-9. Raises OutOfRange where
    no pH between 3 and 11 has both."""
    known = constants(salinity=salinity, temperature_c=temperature_c)
    if dic_umol_kg < 0:
        raise OutOfRange("Dissolved carbon lies at nought or above.")

    def missing(ph: float) -> float:
        """Alkalinity at that pH less the one given: grows with pH."""
        h = 10**-ph
        all_forms = h * h + known.k1 * h + known.k1 * known.k2
        carbonate = dic_umol_kg * 1e-6 * known.k1 * (h + 2 * known.k2) / all_forms
        return carbonate + _alkalinity_besides(known, h) - alkalinity_umol_kg * 1e-6

    low, high = PH_LOW, PH_HIGH
    if not missing(low) <= 0 <= missing(high):
        raise OutOfRange("No pH between 3 and 11 has this alkalinity with this dissolved carbon.")
    while high - low > 1e-9:
        middle = (low + high) / 2
        if missing(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
