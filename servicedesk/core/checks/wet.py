"""Units, volumes, water changes, doses, treatments."""

import re
from collections.abc import Callable
from re import Match
from typing import Any

from servicedesk.core import units
from servicedesk.core.checks import Rule
from servicedesk.core.chemistry import composition, conversions, dosing, treatments, water
from servicedesk.core.chemistry.formulas import molar_mass, share_of

Inputs = dict[str, Any]


def _only(inputs: Inputs) -> float:
    """The one input there is."""
    [value] = inputs.values()
    return float(value)


UNITS: dict[str, tuple[str, str, str]] = {
    "alkalinity dKH -> meq/L": ("alkalinity", "dKH", "meq/L"),
    "alkalinity dKH -> mg/L as CaCO3": ("alkalinity", "dKH", "mg/L CaCO3"),
    "mg/L as CaCO3 -> dKH": ("alkalinity", "mg/L CaCO3", "dKH"),
    "mg/L NO3-N -> mg/L NO3": ("nitrate", "mg/L NO3-N", "mg/L NO3"),
    "mg/L NO3 -> mg/L NO3-N": ("nitrate", "mg/L NO3", "mg/L NO3-N"),
    "mg/L NO2-N -> mg/L NO2": ("nitrite", "mg/L NO2-N", "mg/L NO2"),
    "mg/L NO2 -> mg/L NO2-N": ("nitrite", "mg/L NO2", "mg/L NO2-N"),
    "mg/L PO4-P -> mg/L PO4": ("phosphate", "mg/L PO4-P", "mg/L PO4"),
    "mg/L PO4 -> mg/L PO4-P": ("phosphate", "mg/L PO4", "mg/L PO4-P"),
    "ug/L P -> mg/L PO4": ("phosphate", "µg/L P", "mg/L PO4"),
    "mg/L NH3-N -> mg/L NH3": ("ammonia_total", "mg/L N", "mg/L NH3"),
    "mg/L NH4-N -> mg/L NH4": ("ammonia_total", "mg/L N", "mg/L NH4"),
    "mg/L PO4 -> umol/L PO4": ("phosphate", "mg/L PO4", "µmol/L"),
    "mg/L NO3 -> umol/L NO3": ("nitrate", "mg/L NO3", "µmol/L"),
    "mg/L Ca -> mmol/L Ca": ("calcium", "mg/L", "mmol/L"),
    "mg/L Mg -> mmol/L Mg": ("magnesium", "mg/L", "mmol/L"),
    "temperature F -> C": ("temperature", "F", "C"),
}
"""A quantity in words, as what parameter it turns from which unit to which."""


def _turned(parameter: str, unit: str, to: str) -> Callable[[Inputs, Match[str]], float]:
    def turn(inputs: Inputs, _found: Match[str]) -> float:
        value = units.to_canonical(parameter=parameter, value=_only(inputs), unit=unit)
        return units.from_canonical(parameter=parameter, value=value, unit=to)

    return turn


def _per_kilogram(i: Inputs, _found: Match[str]) -> float:
    known = conversions.Context(temperature_c=i["T_C"], salinity=i["S_psu"])
    dkh = units.to_canonical(parameter="alkalinity", value=i["meq_per_L"], unit="meq/L")
    return conversions.from_canonical(parameter="alkalinity", value=dkh, unit="mmol/kg", context=known)


def _as_carbonate(value: float) -> float:
    return units.from_canonical(parameter="general_hardness", value=value, unit="mg/L CaCO3")


def _hardness(calcium: float, magnesium: float) -> float:
    return water.general_hardness(calcium_mg_l=calcium, magnesium_mg_l=magnesium)


def _rectangular(i: Inputs, _found: Match[str]) -> float:
    sides = {"length_cm": i["L_cm"], "width_cm": i["W_cm"], "height_cm": i["H_cm"]}
    return water.rectangular_l(**sides, glass_cm=i.get("glass_cm", 0.0), gap_cm=i.get("gap_cm", 0.0))


def _salt_for(salt: str, wanted: str, rise: float, litres: float = 1.0, purity: float = 1.0) -> float:
    """Grams of a salt for a rise of an ion in mg/L, or of alkalinity in dKH."""
    if wanted == "alkalinity":
        return dosing.grams_to_raise(salt=salt, rise=rise, net_l=litres, purity=purity)
    return rise * litres / 1000 / share_of(wanted, salt) / purity


def _strength(i: Inputs, found: Match[str]) -> float:
    """What so many mL of a solution of so many g/L give in so many litres."""
    grams: float = i["mL"] * i["g_L"] / 1000
    return grams / _salt_for(found["salt"], found["what"].replace("dKH", "alkalinity"), 1.0, i["V_L"])


def _limewater_meq(i: Inputs) -> float:
    return 1000 * dosing.per_ml_of(salt="Ca(OH)2", grams_per_litre=i["g_L"]) * dosing.MEQ_PER_DKH


def _laid_down(i: Inputs, _found: Match[str]) -> float:
    """Grams of CaCO3 for a fall of alkalinity: half a mole to an equivalent."""
    fall, litres = float(i["dKH"]), float(i["V_L"])
    return fall * dosing.MEQ_PER_DKH / 2 * litres / 1000 * molar_mass("CaCO3")


def _with_calcium(i: Inputs, _found: Match[str]) -> float:
    share: float = i["mol_fraction_MgCO3"]
    return share * molar_mass("Mg") / ((1 - share) * molar_mass("Ca"))


def _blend(i: Inputs, found: Match[str]) -> float:
    parts = [float(part) for part in i["ratio"].split(":")]
    salts = (found["one"], found["other"])
    held = sum(part * share_of("Mg", salt) for part, salt in zip(parts, salts, strict=True))
    return 1000 * held / sum(parts)


def _thiosulphate(reaction: str) -> Callable[[Inputs, Match[str]], float]:
    return lambda i, _found: treatments.thiosulphate_mg(chlorine_mg=i["Cl2_mg"], reaction=reaction)


def _bleach(i: Inputs, _found: Match[str]) -> float:
    stock, of_water = i["parts"]
    return treatments.diluted_percent(stock_percent=i["stock_pct"], stock_parts=stock, water_parts=of_water)


SALT = r"(?P<salt>[A-Z][A-Za-z0-9().]*)"
NUMBER = r"[\d.]+"
WORDS: list[tuple[str, str, Callable[[Inputs, Match[str]], float]]] = [
    ("units", re.escape("total alkalinity meq/L -> mmol/kg (divide by density in kg/L)"), _per_kilogram),
    ("units", r"mg/L Ca -> mg/L CaCO3 .*", lambda i, _f: _as_carbonate(_hardness(_only(i), 0))),
    ("units", r"mg/L Mg -> mg/L CaCO3 .*", lambda i, _f: _as_carbonate(_hardness(0, _only(i)))),
    ("units", "general hardness from Ca and Mg", lambda i, _f: _hardness(i["Ca_mg_L"], i["Mg_mg_L"])),
    ("units", "total hardness as CaCO3", lambda i, _f: _as_carbonate(_hardness(i["Ca_mg_L"], i["Mg_mg_L"]))),
    ("units", rf"{NUMBER} US gallons?", lambda i, _f: i["US_gal"] * water.US_GALLON_L),
    ("units", rf"{NUMBER} imperial gallons?", lambda i, _f: i["imp_gal"] * water.IMPERIAL_GALLON_L),
    ("volume", r"rectangular tank .*", _rectangular),
    ("volume", r"cylinder .*", lambda i, _f: water.cylinder_l(diameter_cm=i["D_cm"], height_cm=i["H_cm"])),
    ("volume", r"regular hexagonal prism.*", lambda i, _f: water.hexagon_l(side_cm=i["side_cm"], height_cm=i["H_cm"])),
    ("water_change", r"n equal batch changes .*", lambda i, _f: water.after_changes(now=i["c0"], fresh=i["c_new"], fraction=i["f"], times=i["n"])),
    ("water_change", r"continuous exchange .*", lambda i, _f: water.after_continuous(now=i["c0"], fresh=i["c_new"], litres=i["V"], net_l=i["V_t"])),
    ("water_change", r"batch fraction needed .*", lambda i, _f: water.fraction_needed(now=i["c0"], fresh=i["c_new"], goal=i["c_target"])),
    ("stoichiometry", r"Ca consumed per .* meq/L .*", lambda i, _f: dosing.CALCIUM_PER_MEQ * i["meq_L"]),
    ("stoichiometry", r"Ca consumed per .* dKH", lambda i, _f: dosing.uptake_calcium(alkalinity_dkh=i["dKH"])),
    ("stoichiometry", r"dKH consumed with .* Ca", lambda i, _f: i["Ca_mg_L"] / dosing.CALCIUM_PER_DKH),
    ("stoichiometry", r"Mg taken with Ca .*", _with_calcium),
    ("stoichiometry", r"CaCO3 laid down .*", _laid_down),
    ("dosing", rf"(anhydrous )?pure {SALT} to raise alkalinity {NUMBER} dKH", lambda i, f: 1000 * _salt_for(f["salt"], "alkalinity", i["dKH"])),
    ("dosing", rf"(pure )?{SALT} to raise (?P<ion>[A-Z][A-Za-z0-9]*) (?P<rise>{NUMBER}) mg/L", lambda _i, f: 1000 * _salt_for(f["salt"], f["ion"], float(f["rise"]))),
    ("dosing", rf"{SALT} for \+{NUMBER} dKH in .*", lambda i, f: _salt_for(f["salt"], "alkalinity", i["dKH"], i["V_L"], i.get("purity", 1.0))),
    ("dosing", rf"{SALT} for \+{NUMBER} mg/L (?P<ion>\w+) in .*", lambda i, f: _salt_for(f["salt"], f["ion"], i[f"d{f['ion']}"], i["V_L"], i.get("purity", 1.0))),
    ("dosing", rf"(?P<what>\w+) given by {NUMBER} mL(/day)? of (a solution of )?{NUMBER} g/L {SALT} in .*", _strength),
    ("dosing", rf"{SALT} : (?P<other>\S+) by MASS that adds Cl and SO4 in the seawater ratio", lambda _i, f: composition.chloride_to_sulphate_mix(chloride_salt=f["salt"], sulphate_salt=f["other"])),
    ("dosing", r"Mg in 1 g of a \S+ \(mass\) blend of (?P<one>\S+) and (?P<other>\S+)", _blend),
    ("dosing", r"Ca\(OH\)2 solubility at .*", lambda i, _f: dosing.limewater_g_l(temperature_c=i["T_C"])),
    ("dosing", r"alkalinity of saturated Ca\(OH\)2 at .*", lambda i, _f: _limewater_meq(i)),
    ("dosing", r"dKH/day from .* saturated limewater .*", lambda i, _f: i["L_day"] * _limewater_meq(i) / dosing.MEQ_PER_DKH / i["V_L"]),
    ("treatment", r".*\(tetrathionate\)", _thiosulphate("tetrathionate")),
    ("treatment", r"Na2S2O3.* -> S \+ SO4 .*", _thiosulphate("sulphur")),
    ("treatment", r"Na2S2O3.* -> 2 SO4 .*", _thiosulphate("sulphate")),
    ("treatment", r"ammonia N released .*", lambda i, _f: treatments.ammonia_from_chloramine_mg_l_n(as_chlorine_mg_l=i["as_Cl2_mg_L"])),
    ("treatment", rf"copper mass fraction of {SALT}", lambda _i, f: treatments.copper_share(salt=f["salt"])),
    ("treatment", rf"{SALT} for {NUMBER} mg/L Cu in .*", lambda i, f: treatments.copper_salt_mg(copper_mg_l=i["Cu_mg_L"], net_l=i["V_L"], salt=f["salt"])),
    ("treatment", r"dissolved oxygen removed by .* formalin .*", lambda i, _f: treatments.oxygen_taken_mg_l(formalin_mg_l=i["formalin_mg_L"])),
    ("safety", r"NaOCl after diluting .*", _bleach),
]  # fmt: skip

RULES: list[Rule] = [
    *(("units", re.compile(re.escape(words)), _turned(*how)) for words, how in UNITS.items()),
    *((topic, re.compile(words), how) for topic, words, how in WORDS),
]
