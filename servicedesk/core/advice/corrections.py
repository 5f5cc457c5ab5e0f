"""What is corrected slowly: salinity first, then what is dosed, each within its safe daily change; nitrate and
phosphate by changing water; pH never chased. Order and rules: common practice (no source); arithmetic as in
chemistry.dosing and chemistry.water."""

import math
from typing import Any

from servicedesk.core import units
from servicedesk.core.advice.sheet import MARINE, BandSpec, Product, TankSheet
from servicedesk.core.advice.verdicts import shown

Expression = Any
DOSED = ("alkalinity", "carbonate_hardness", "calcium", "magnesium", "potassium")
MOST_A_DAY = 0.3
SAFE_K = 2.0


def out(parameter: str, side: str) -> Expression:
    """Whether a parameter stands below or above its band (or its limit)."""
    return [
        "or",
        ["=", f"{parameter}:word", ["word", side]],
        ["=", f"{parameter}:word", ["word", f"{side}_limit"]],
    ]


def name_of(parameter: str) -> Expression:
    """The parameter's name as a word."""
    return ["word", units.parameter(parameter).name]


def salinity_lines(sheet: TankSheet, band: BandSpec) -> list[Expression]:
    """Exchange for pure water or for mix, so that salinity moves no further than is safe in a day."""
    p, net = "salinity", sheet.net_l
    goal = band.goal if band.goal is not None else 35.0
    mix = sheet.fresh_mix.get("salinity", 35.0)
    down = ["max", goal, ["-", p, band.max_fall_per_day or 1.0]]
    up = ["min", goal, ["+", p, band.max_rise_per_day or 1.0]]
    lower = ["*", net, ["clamp", ["/", ["-", p, down], p], 0, MOST_A_DAY]]
    share = ["if", [">", mix, p], ["clamp", ["/", ["-", up, p], ["-", mix, p]], 0, MOST_A_DAY], None]
    raised = ["*", net, share]
    high_parts = {
        "litres": ["fixed", lower, 0],
        "goal": ["fixed", ["*", p, ["-", 1, ["/", lower, net]]], 1],
    }
    low_parts = {
        "litres": ["fixed", raised, 0],
        "mix": ["fixed", mix, 1],
        "goal": ["fixed", ["+", p, ["*", ["-", mix, p], share]], 1],
    }
    return [
        ["if", out(p, "above"), ["say", "salinity_high", high_parts], None],
        ["if", ["and", out(p, "below"), [">", mix, p]], ["say", "salinity_low", low_parts], None],
    ]


def _dose(sheet: TankSheet, band: BandSpec, product: Product) -> Expression:
    p, goal = band.parameter, band.goal
    relative = math.hypot(sheet.net_l_u / sheet.net_l, product.per_ml_u_rel)
    rise: Expression = ["-", goal, p]
    days: Expression = 1.0
    if band.max_rise_per_day:
        days = ["max", 1.0, ["ceil", ["-", ["/", rise, band.max_rise_per_day], 1e-9]]]
    total: Expression = ["/", ["*", rise, sheet.net_l], product.per_ml]
    today: Expression = ["/", ["/", total, days], 1 + SAFE_K * relative]
    days_text = [
        "if",
        [">", days, 1],
        ["say", "more_days", {"days": ["fixed", days, 0]}],
        ["say", "one_day", {}],
    ]
    why = {
        "goal": shown(p, band.unit, goal),
        "value": shown(p, band.unit, p),
        "unit": ["word", band.unit],
        "net": ["fixed", sheet.net_l, 0],
        "strength": ["fixed", product.per_ml, 3],
        "total": ["fixed", total, 0],
        "days": ["fixed", days, 0],
        "u": ["fixed", 100 * relative, 0],
    }
    parts = {
        "parameter": name_of(p),
        "ml": ["fixed", today, 0],
        "product": ["word", product.name],
        "days_text": days_text,
    }
    extra = {
        "why": ["say", "why_raise", why],
        "product": ["word", product.key],
        "parameter": ["word", p],
        "ml": ["round", today, 0],
    }
    return ["say", "raise", parts, extra]


def _raise(sheet: TankSheet, band: BandSpec) -> Expression:
    p = band.parameter
    product = next((x for x in sheet.products if x.parameter == p), None)
    if band.goal is None:
        return None
    if product is not None:
        return _dose(sheet, band, product)
    fresh = sheet.fresh_mix.get(p)
    if fresh is not None and fresh > band.goal:
        return _change(sheet, band, fresh, "raise_by_change")
    return ["say", "raise_by_other", {"parameter": name_of(p)}]


def _change(sheet: TankSheet, band: BandSpec, fresh: float, name: str) -> Expression:
    """A water change that brings the value towards the goal, within the safe daily change and a third of the tank."""
    p, goal = band.parameter, band.goal
    step = band.max_rise_per_day if name == "raise_by_change" else band.max_fall_per_day
    share: Expression = ["/", ["-", p, goal], ["-", p, fresh]]
    if step is not None:
        share = ["min", share, ["/", step, ["abs", ["-", p, fresh]]]]
    share = ["clamp", share, 0, MOST_A_DAY]
    litres = ["fixed", ["*", sheet.net_l, share], 0]
    reached = ["+", p, ["*", ["-", fresh, p], share]]
    parts = {"parameter": name_of(p), "litres": litres, "goal": shown(p, band.unit, reached)}
    why = {
        "net": ["fixed", sheet.net_l, 0],
        "value": shown(p, band.unit, p),
        "goal": shown(p, band.unit, reached),
        "fresh": shown(p, band.unit, fresh),
        "litres": litres,
    }
    return ["say", name, parts, {"why": ["say", "why_change", why]}]


def dosed_lines(sheet: TankSheet) -> list[Expression]:
    """Alkalinity, calcium, magnesium and the like: raised by dose, lowered by dosing less; after salinity."""
    lines: list[Expression] = []
    salty = sheet.band("salinity") is not None
    wait = ["or", out("salinity", "below"), out("salinity", "above")] if salty else False
    for p in DOSED:
        band = sheet.band(p)
        if band is None:
            continue
        later: Expression = ["say", "after_salinity", {"parameter": name_of(p)}]
        if sheet.water_type not in MARINE and p == "carbonate_hardness" and not _product(sheet, p):
            fresh = sheet.fresh_mix.get(p, (band.goal or 5.0) * 1.5)
            low = _change(sheet, band, fresh, "carbonate_low_soft")
        else:
            low = _raise(sheet, band)
        if p in sheet.trust and sheet.trust[p] == "not_to_act_on":
            low = ["if", ["=", f"{p}:doubt", 1], ["say", "not_acted_on", {"parameter": name_of(p)}], low]
        lines.append(["if", out(p, "below"), ["if", wait, later, low], None])
        lines.append(["if", out(p, "above"), ["say", "lower_feed", {"parameter": name_of(p)}], None])
    if sheet.band("alkalinity") and sheet.band("calcium"):
        both = ["and", out("alkalinity", "below"), out("calcium", "below"), ["not", wait]]
        lines.append(["if", both, ["say", "apart", {}], None])
    return lines


def _product(sheet: TankSheet, parameter: str) -> bool:
    return any(product.parameter == parameter for product in sheet.products)


def nutrient_lines(sheet: TankSheet) -> list[Expression]:
    """Nitrate by changing water, phosphate slowly; none at all is a fault too."""
    lines: list[Expression] = []
    nitrate, phosphate = sheet.band("nitrate"), sheet.band("phosphate")
    if nitrate is not None:
        change = _change(sheet, nitrate, sheet.fresh_mix.get("nitrate", 0.0), "lower_by_change")
        lines.append(["if", out("nitrate", "above"), change, None])
        lines.append(
            ["if", out("nitrate", "below"), ["say", "nutrients_low", {"parameter": name_of("nitrate")}], None]
        )
    if phosphate is not None:
        step = phosphate.max_fall_per_day or 0.05
        parts = {
            "parameter": name_of("phosphate"),
            "step": shown("phosphate", phosphate.unit, step, step=True),
            "unit": ["word", phosphate.unit],
        }
        lines.append(["if", out("phosphate", "above"), ["say", "lower_slowly", parts], None])
        low = ["say", "nutrients_low", {"parameter": name_of("phosphate")}]
        lines.append(["if", out("phosphate", "below"), low, None])
    return lines


def other_lines(sheet: TankSheet) -> list[Expression]:
    """pH is never chased; old acid water is tested for ammonia first; temperature moves slowly."""
    lines: list[Expression] = []
    if sheet.band("ph") is not None:
        if sheet.water_type not in MARINE and sheet.band("ammonia_total") is not None:
            unsure = ["or", ["missing", "ammonia_total"], out("ammonia_total", "above")]
            lines.append(["if", ["and", out("ph", "below"), unsure], ["say", "acid_old", {}], None])
        lines.append(
            ["if", ["or", out("ph", "below"), out("ph", "above")], ["say", "ph_not_chased", {}], None]
        )
    temperature = sheet.band("temperature")
    if temperature is not None:
        step = ["fixed", temperature.max_rise_per_day or 1.0, 1]
        mild = ["or", *(["=", "temperature:word", ["word", side]] for side in ("below", "above"))]
        lines.append(["if", mild, ["say", "temperature_off", {"step": step}], None])
    return lines
