"""Salinity, density, oxygen, ammonia, the carbonate system, what sea water holds."""

import math
import re
from collections.abc import Callable
from re import Match
from typing import Any

from servicedesk.core.checks import Rule
from servicedesk.core.chemistry import ammonia, carbonate, composition, oxygen, salinity

Inputs = dict[str, Any]
ITS90_PER_IPTS68 = 1.00024
"""Temperatures of IPTS-68 are 1.00024 times those of ITS-90 (Saunders 1990, WOCE Newsletter 10)."""
PH_SCALES = {"pH_nbs": "NBS", "pH_free": "free", "pH_sws": "seawater", "pH_total": "total"}


def _by_conductivity(i: Inputs, _found: Match[str]) -> float:
    return salinity.practical_from_conductivity(
        conductivity_ms_cm=i["C_mS_cm"], temperature_c=i["t_C"], pressure_dbar=i.get("p_dbar", 0)
    )


def _by_ratio(i: Inputs, _found: Match[str]) -> float:
    return salinity.practical_from_conductivity(
        conductivity_ms_cm=salinity.CONDUCTIVITY_35_15 * i["R"],
        temperature_c=i["t68_C"] / ITS90_PER_IPTS68,
        pressure_dbar=i.get("p_dbar", 0),
    )


def _gravity(i: Inputs, _found: Match[str]) -> float:
    return salinity.specific_gravity(salinity=i["S"], temperature_c=i["t_C"], reference_c=i["t_ref_C"])


def _from_gravity(i: Inputs, _found: Match[str]) -> float:
    return salinity.practical_from_specific_gravity(
        gravity=i["sg"], temperature_c=i["t_C"], reference_c=i["t_ref_C"]
    )


def _fresh_ammonia(i: Inputs, _found: Match[str]) -> float:
    total = i.get("TAN_mg_L", 1.0)
    return float(total) * ammonia.toxic_fraction_fresh(temperature_c=i["T_C"], ph=i["pH"])


def _sea_ammonia(i: Inputs, _found: Match[str]) -> float:
    known = {"temperature_c": i["T_C"], "salinity": i["S"]}
    if "pH_total" in i:
        return ammonia.toxic_fraction_sea(ph=i["pH_total"], scale="total scale", **known)
    return 100 * ammonia.toxic_fraction_sea(ph=i["pH"], scale="NBS scale", **known)


def _sea_ammonia_per_water(i: Inputs, _found: Match[str]) -> float:
    pk = ammonia.pk_total_scale(temperature_c=i["T_C"], salinity=i["S"], per_kg_water=True)
    return float(1 / (1 + 10 ** (pk - i["pH"])))


def _constant(of: Callable[[carbonate.Constants], float]) -> Callable[[Inputs, Match[str]], float]:
    return lambda i, _found: of(carbonate.constants(salinity=i["S"], temperature_c=i["T_C"]))


def _system(of: Callable[[carbonate.Carbonate], float]) -> Callable[[Inputs, Match[str]], float]:
    return lambda i, _found: of(
        carbonate.from_ph(
            alkalinity_umol_kg=i["TA_umol_kg"],
            ph_total=i["pH_total"],
            salinity=i["S"],
            temperature_c=i["T_C"],
            calcium_umol_kg=i.get("Ca_umol_kg"),
        )
    )


def _ph_of(i: Inputs, _found: Match[str]) -> float:
    known = {"salinity": i["S"], "temperature_c": i["T_C"]}
    return carbonate.ph_from_dic(alkalinity_umol_kg=i["TA_umol_kg"], dic_umol_kg=i["DIC_umol_kg"], **known)


def _moved_ph(i: Inputs, found: Match[str]) -> float:
    return carbonate.ph_on(
        ph=i["pH_total"], scale="total", to=PH_SCALES[found["to"]], salinity=i["S"], temperature_c=i["T_C"]
    )


WORDS: list[tuple[str, str, Callable[[Inputs, Match[str]], float]]] = [
    ("salinity", r"practical salinity from conductivity ratio .*", _by_ratio),
    ("salinity", r"practical salinity from conductivity at the surface .*", _by_conductivity),
    ("salinity", r"official TEOS-10 check cast: SP from C", _by_conductivity),
    ("salinity", r"conductivity of S=.*", lambda i, _f: salinity.conductivity(salinity=i["S"], temperature_c=i["t_C"])),
    ("salinity", r"reference salinity of SP=.*", lambda i, _f: salinity.reference_salinity(salinity=i["SP"])),
    ("density", r"EOS-80 density .*\(IPTS-68 temperature\)", lambda i, _f: salinity.density_eos80(salinity=i["S"], temperature_68_c=i["t68_C"])),
    ("density", r"EOS-80 density .*\(ITS-90 temperature\)", lambda i, _f: salinity.density_eos80(salinity=i["S"], temperature_68_c=i["t_C"] * ITS90_PER_IPTS68)),
    ("specific_gravity", r"relative density .*", _gravity),
    ("specific_gravity", r"salinity from relative density .*", _from_gravity),
    ("oxygen", r"(oxygen at saturation|Garcia & Gordon check value).* \[umol/kg\]", lambda i, _f: oxygen.saturation_umol_kg(salinity=i["S"], temperature_c=i["t_C"])),
    ("oxygen", r"oxygen at saturation.* \[mg/L\]", lambda i, _f: oxygen.saturation_mg_l(salinity=i["S"], temperature_c=i["t_C"])),
    ("ammonia_fresh", r"un-ionised fraction.*", _fresh_ammonia),
    ("ammonia_fresh", r"worked example: TAN .*", _fresh_ammonia),
    ("ammonia_sea", r"un-ionised per cent of total ammonia, seawater.*", _sea_ammonia),
    ("ammonia_sea", r"un-ionised fraction, total pH scale", _sea_ammonia),
    ("ammonia_sea", r"pK\(NH4\+\) .*total scale", lambda i, _f: ammonia.pk_total_scale(temperature_c=i["T_C"], salinity=i["S"])),
    ("ammonia_sea", r"un-ionised fraction \(.*K left in mol/kg-H2O\)", _sea_ammonia_per_water),
    ("ammonia_criteria", r"EPA 2013 acute criterion, total ammonia N, salmonids present", lambda i, _f: ammonia.acute_criterion_mg_l_n(ph=i["pH"], temperature_c=i["T_C"])),
    ("ammonia_criteria", r"EPA 2013 chronic criterion, total ammonia N", lambda i, _f: ammonia.chronic_criterion_mg_l_n(ph=i["pH"], temperature_c=i["T_C"])),
    ("carbonate", r"ln K0, .*", _constant(lambda k: math.log(k.k0))),
    ("carbonate", r"log10 K1 .*", _constant(lambda k: math.log10(k.k1))),
    ("carbonate", r"log10 K2 .*", _constant(lambda k: math.log10(k.k2))),
    ("carbonate", r"ln KB .*", _constant(lambda k: math.log(k.k_borate))),
    ("carbonate", r"Ksp aragonite", _constant(lambda k: k.aragonite)),
    ("carbonate", r"Ksp calcite", _constant(lambda k: k.calcite)),
    ("carbonate", r"DIC", _system(lambda found: found.dic_umol_kg)),
    ("carbonate", r"pCO2", _system(lambda found: found.pco2_uatm)),
    ("carbonate", r"aragonite saturation", _system(lambda found: found.aragonite)),
    ("carbonate", r"calcite saturation", _system(lambda found: found.calcite)),
    ("carbonate", r"pH \(total scale\) from TA and DIC", _ph_of),
    ("carbonate", r"pH scale conversion: total .* -> (?P<to>\w+)", _moved_ph),
    ("seawater_composition", r"total alkalinity of Reference Composition seawater.*", lambda i, _f: composition.alkalinity_umol_kg(salinity=i["SP"])),
    ("seawater_composition", r"(?P<ion>\w+) (in Reference Composition seawater.*|at constant composition)", lambda i, f: composition.milligrams_per_kg(ion=f["ion"], salinity=i["SP"])),
]  # fmt: skip


RULES: list[Rule] = [(topic, re.compile(words), how) for topic, words, how in WORDS]
