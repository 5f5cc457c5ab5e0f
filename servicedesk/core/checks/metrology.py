"""Weighing, dilution, uncertainty: with the worked examples of the guides as models of their own."""

import math
import re
from collections.abc import Callable
from re import Match
from typing import Any

from servicedesk.core.checks import Rule
from servicedesk.core.metrology import weighing
from servicedesk.core.metrology.propagation import (
    Combined,
    Known,
    arcsine_u,
    combined,
    rectangular_u,
    triangular_u,
)
from servicedesk.core.metrology.quantiles import coverage_factor

Inputs = dict[str, Any]
HALF_WIDTHS = {
    "rectangular": rectangular_u,
    "triangular": triangular_u,
    "arcsine": arcsine_u,
    "rect": rectangular_u,
}
PHTHALATE_G_PER_MOL = Known(204.2212, 0.0038)
"""Potassium hydrogen phthalate as QUAM A2 has it."""


def _flask(i: Inputs) -> float:
    """Standard uncertainty of a flask's volume: its tolerance, the filling, the temperature."""
    return math.hypot(triangular_u(i["flask_half_tri"]), i["rep_u"], rectangular_u(i["temp_half_rect"]))


def _cadmium(i: Inputs) -> Combined:
    """QUAM A1: a standard from a weighed metal, mg/L."""
    inputs = {
        "mass": Known(i["m_mg"], i["u_m"]),
        "purity": Known(i["P"], rectangular_u(i["P_half_rect"])),
        "volume": Known(i["V_mL"], _flask(i)),
    }
    return combined(lambda mass, purity, volume: 1000 * mass * purity / volume, inputs)


def _titre(i: Inputs) -> Combined:
    """QUAM A2: sodium hydroxide against a weighed phthalate, mol/L."""
    volume_u = math.hypot(triangular_u(i["burette_half_tri_mL"]), i["temp_u_mL"])
    inputs = {
        "repeat": Known(1.0, i["rep_rel"]),
        "mass": Known(i["m_KHP_g"], math.sqrt(i["times"]) * rectangular_u(i["balance_lin_half_rect_g"])),
        "purity": Known(1.0, rectangular_u(i["P_half_rect"])),
        "molar": PHTHALATE_G_PER_MOL,
        "volume": Known(i["V_mL"], volume_u),
    }

    def model(repeat: float, mass: float, purity: float, molar: float, volume: float) -> float:
        return repeat * 1000 * mass * purity / (molar * volume)

    return combined(model, inputs)


def _said(words: Any) -> float:
    """ "rect 2e-6" as a standard uncertainty."""
    kind, width = str(words).split()
    return HALF_WIDTHS[kind](float(width))


def _gauge(i: Inputs) -> Combined:
    """GUM H.1: a gauge block compared with another one, nm."""
    inputs = {"standard": Known(*i["ls_nm"])}
    inputs |= {f"apart{n}": Known(*part) for n, part in enumerate(i["d_nm"])}
    swing, mean_u, cyclic = i["theta"]
    inputs |= {
        "expands": Known(i["alpha_s"][0], _said(i["alpha_s"][1])),
        "expands_apart": Known(0.0, _said(i["d_alpha"][0]), i["d_alpha"][1]),
        "warmer": Known(0.0, _said(i["d_theta"][0]), i["d_theta"][1]),
        "bed": Known(swing, mean_u),
        "cycle": Known(0.0, _said(cyclic)),
    }

    def model(**v: float) -> float:
        apart = sum(value for name, value in v.items() if name.startswith("apart"))
        heat = v["expands_apart"] * (v["bed"] + v["cycle"]) + v["expands"] * v["warmer"]
        return v["standard"] + apart - v["standard"] * heat

    return combined(model, inputs)


WORDS: list[tuple[str, str, Callable[[Inputs, Match[str]], float]]] = [
    ("water_density", r"density of air-free pure water.*", lambda i, _f: weighing.water_density_kg_m3(temperature_c=i["T_C"])),
    ("water_density", r"Z factor: .*", lambda i, _f: weighing.ml_per_gram(temperature_c=i["T_C"])),
    ("dilution", r"standard dilution .*", lambda i, _f: weighing.diluted(strength=i["c1"], taken_ml=i["V1_mL"], made_up_to_ml=i["V2_mL"])),
    ("uncertainty", r"Cd standard concentration", lambda i, _f: _cadmium(i).value),
    ("uncertainty", r"Cd standard: combined standard uncertainty", lambda i, _f: _cadmium(i).u),
    ("uncertainty", r"u\(V\) of the flask", lambda i, _f: _flask(i)),
    ("uncertainty", r"NaOH titre", lambda i, _f: _titre(i).value),
    ("uncertainty", r"NaOH titre: combined standard uncertainty", lambda i, _f: _titre(i).u),
    ("uncertainty", r"gauge block length", lambda i, _f: _gauge(i).value),
    ("uncertainty", r"gauge block combined standard uncertainty .*", lambda i, _f: _gauge(i).u),
    ("uncertainty", r"effective degrees of freedom .*", lambda i, _f: _gauge(i).freedom),
    ("uncertainty", r"Type B standard uncertainty, (?P<kind>rectangular|triangular|arcsine) half-width .*", lambda i, f: HALF_WIDTHS[f["kind"]](i["a"])),
    ("uncertainty", r"Student t, .*", lambda i, _f: coverage_factor(confidence=i["p"], freedom=i["nu"])),
    ("uncertainty", r"titration kit, 1 drop .*", lambda i, _f: rectangular_u(i["step_dKH"] / 2)),
]  # fmt: skip
RULES: list[Rule] = [(topic, re.compile(words), how) for topic, words, how in WORDS]
