"""What is corrected slowly: salinity first, then what is dosed, each within its safe daily change; nitrate and
phosphate by changing water; pH never chased. Order and rules: common practice (no source); arithmetic as in
chemistry.dosing and chemistry.water.

No line rests on a value that is not to be acted on, and none is given without today's test (a word that is null
matches nothing)."""

import math
from typing import Any

from servicedesk.core import units
from servicedesk.core.advice.sheet import MARINE, BandSpec, Product, TankSheet
from servicedesk.core.advice.verdicts import shown, unit_of
from servicedesk.core.chemistry.dosing import CAUSTIC
from servicedesk.core.chemistry.plans import CUT, WIDTH

Expression = Any
DOSED = ("alkalinity", "carbonate_hardness", "calcium", "magnesium", "potassium")
MOST_A_DAY = 0.3
LEAST_STEPS = 20
SMALL_L = 100.0


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


def plain(name: str, parameter: str) -> Expression:
    """A saying that only names its parameter."""
    return ["say", name, {"parameter": name_of(parameter)}]


def doubted(sheet: TankSheet, parameter: str) -> Expression:
    """Whether the value comes from an instrument that is not to be acted on. Where the tank's instrument is such a
    one, the value must be said to come from elsewhere (doubt 0)."""
    doubt = f"{parameter}:doubt"
    if sheet.trust.get(parameter) == "not_to_act_on":
        return ["not", ["=", doubt, 0]]
    return ["=", doubt, 1]


def if_trusted(sheet: TankSheet, parameter: str, line: Expression) -> Expression:
    """The line, unless the value is doubted."""
    return ["if", doubted(sheet, parameter), plain("not_acted_on", parameter), line]


def litre_digits(sheet: TankSheet) -> int:
    """Decimals with which litres are said: whole ones, tenths for small tanks."""
    return 0 if sheet.net_l >= SMALL_L else 1


def salinity_lines(sheet: TankSheet, band: BandSpec) -> list[Expression]:
    """Exchange for pure water or for mix, so that salinity moves no further than is safe in a day."""
    p, net = "salinity", sheet.net_l
    goal = band.goal if band.goal is not None else 35.0
    mix = sheet.fresh_mix.get("salinity", 35.0)
    down = ["max", goal, ["-", p, band.max_fall_per_day or 1.0]]
    up = ["min", goal, ["+", p, band.max_rise_per_day or 1.0]]
    digits = litre_digits(sheet)
    lower = _floor(["*", net, ["clamp", ["/", ["-", p, down], p], 0, MOST_A_DAY]], digits)
    share = ["clamp", ["/", ["-", up, p], ["-", mix, p]], 0, MOST_A_DAY]
    high_parts = {
        "litres": ["fixed", lower, digits],
        "goal": ["fixed", ["*", p, ["-", 1, ["/", lower, net]]], 1],
    }
    low_parts = {
        "litres": ["fixed", _floor(["*", net, share], digits), digits],
        "mix": ["fixed", mix, 1],
        "goal": ["fixed", ["+", p, ["*", ["-", mix, p], share]], 1],
    }
    raised = ["if", [">", mix, p], ["say", "salinity_low", low_parts], plain("raise_by_other", p)]
    return [
        ["if", out(p, "above"), if_trusted(sheet, p, ["say", "salinity_high", high_parts]), None],
        ["if", out(p, "below"), if_trusted(sheet, p, raised), None],
    ]


def _floor(amount: Expression, digits: int) -> Expression:
    """Rounded down to that many decimals: a safe amount is never rounded up."""
    power = 10**digits
    return ["/", ["-", ["ceil", ["-", ["*", amount, power]]]], power]


def _digits(most_ml: float) -> int:
    """Decimals with which a day's mL are said: steps no coarser than a twentieth of the largest day's dose."""
    return min(3, max(0, math.ceil(math.log10(LEAST_STEPS / most_ml))))


def _safe_share(sheet: TankSheet, product: Product) -> float:
    """Which share of a day's dose is safe even when the water is less and the solution stronger than believed, each by two
    standard uncertainties (as chemistry.plans.safe_ml)."""
    least = 1 - CUT * sheet.net_l_u / sheet.net_l
    if least <= 0:
        return 0.0
    return least / (1 + CUT * product.per_ml_u_rel)


def _dose(sheet: TankSheet, band: BandSpec, goal: float, step: float, product: Product) -> Expression:
    p, safe = band.parameter, _safe_share(sheet, product)
    if safe == 0:
        return plain("volume_unsure", p)
    rise: Expression = ["-", goal, p]
    days: Expression = ["max", 1.0, ["ceil", ["-", ["/", rise, step * safe], 1e-9]]]
    total: Expression = ["/", ["*", rise, sheet.net_l], product.per_ml]
    digits, part = _digits(step * sheet.net_l / product.per_ml), ["/", total, days]
    daily, today = _floor(part, digits), _floor(["*", part, safe], digits)
    later: Expression = ["-", days, 1]
    end = _end(sheet, band, product, ["+", today, ["*", later, daily]])
    why = {
        "goal": shown(p, band.unit, goal),
        "value": shown(p, band.unit, p),
        "unit": unit_of(band.unit),
        "net": ["fixed", sheet.net_l, 0],
        "strength": ["fixed", product.per_ml, 3],
        "total": ["fixed", total, digits],
        "days": ["fixed", days, 0],
        "safe": ["fixed", 100 * (1 - safe), 0],
        "end": ["say", "ends_at", end],
    }
    more = {"daily": ["fixed", daily, digits], "days": ["fixed", later, 0]}
    parts = {
        "parameter": name_of(p),
        "ml": ["fixed", today, digits],
        "product": ["word", product.name],
        "days_text": ["if", [">", days, 1], ["say", "more_days", more], ["say", "one_day", end]],
    }
    extra = {
        "why": ["say", "why_raise", why],
        "mind": _mind(product),
        "product": ["word", product.key],
        "parameter": ["word", p],
        "ml": ["round", today, digits],
        "rest_ml": ["round", ["*", later, daily], digits],
        "rest_days": later,
        **_by_pump(product, daily, days),
    }
    return ["say", "raise", parts, extra]


def _end(sheet: TankSheet, band: BandSpec, product: Product, given: Expression) -> dict[str, Expression]:
    """Where the value ends after so many mL, and the interval about it, as parts of a sentence."""
    p, relative = band.parameter, math.hypot(sheet.net_l_u / sheet.net_l, product.per_ml_u_rel)
    rises = ["/", ["*", given, product.per_ml], sheet.net_l]
    wide = ["sqrt", ["+", sheet.test_u.get(p, 0.0) ** 2, ["*", rises, rises, relative**2]]]
    return {
        "end": shown(p, band.unit, ["+", p, rises]),
        "wide": shown(p, band.unit, ["*", WIDTH, wide], step=True),
        "unit": unit_of(band.unit),
    }


def _mind(product: Product) -> Expression:
    """What the solution does besides, where its salt is known."""
    if product.salt in CAUSTIC:
        return ["say", "mind_caustic", {}]
    if product.salt == "Na2CO3":
        return ["say", "mind_carbonate", {}]
    if product.salt == "NaHCO3":
        return ["say", "mind_bicarbonate", {}]
    return None


def _by_pump(product: Product, daily: Expression, days: Expression) -> dict[str, Expression]:
    """The temporary setting of the channel that brings the rest, where there is one that can give it; never what is caustic."""
    if not product.channel or product.salt in CAUSTIC:
        return {}
    step = product.pump_step_ml or 0.001
    rate = ["*", ["-", ["ceil", ["-", ["/", ["+", product.running_ml, daily], step]]]], step]
    possible = [">", days, 1]
    if product.most_ml is not None:
        possible = ["and", possible, ["<=", rate, product.most_ml]]
    digits = min(3, max(0, math.ceil(-math.log10(step) - 1e-9)))
    parts = {
        "rate": ["fixed", rate, digits],
        "days": ["fixed", ["-", days, 1], 0],
        "running": ["fixed", product.running_ml, digits],
    }
    return {
        "pump": ["if", possible, ["say", "by_pump", parts], None],
        "channel": ["if", possible, ["word", product.channel], None],
        "rate": ["if", possible, ["round", rate, digits], None],
    }


def _change(sheet: TankSheet, band: BandSpec, goal: float, fresh: float, name: str) -> Expression:
    """A water change that brings the value towards the goal, within the safe daily change and a third of the tank."""
    p = band.parameter
    up = name != "lower_by_change"
    step = band.max_rise_per_day if up else band.max_fall_per_day
    share: Expression = ["/", ["-", p, goal], ["-", p, fresh]]
    if step is not None:
        share = ["min", share, ["/", step, ["abs", ["-", p, fresh]]]]
    share = ["clamp", share, 0, MOST_A_DAY]
    digits = litre_digits(sheet)
    litres = ["fixed", _floor(["*", sheet.net_l, share], digits), digits]
    reached = ["+", p, ["*", ["-", fresh, p], share]]
    parts = {
        "parameter": name_of(p),
        "litres": litres,
        "goal": shown(p, band.unit, reached),
        "fresh": shown(p, band.unit, fresh),
        "unit": unit_of(band.unit),
    }
    why = {
        "net": ["fixed", sheet.net_l, 0],
        "value": shown(p, band.unit, p),
        "goal": shown(p, band.unit, reached),
        "fresh": shown(p, band.unit, fresh),
        "litres": litres,
        "share": ["fixed", ["*", 100, share], 0],
    }
    return ["say", name, parts, {"why": ["say", "why_change", why]}]


def _raise(sheet: TankSheet, band: BandSpec, wait: Expression) -> list[Expression]:
    """Lines for a value under its band, once salinity (`wait`) and trust allow it."""
    p, goal = band.parameter, band.goal
    low = out(p, "below")
    if goal is None:
        return [["if", low, plain("look", p), None]]
    product, fresh = sheet.product(p), sheet.fresh_mix.get(p)
    nothing = plain("raise_by_other", p)
    step = band.max_rise_per_day
    if product is not None:
        first = _dose(sheet, band, goal, step, product) if step else plain("no_safe_step", p)
    elif fresh is not None:
        first = ["if", [">", fresh, p], _change(sheet, band, goal, fresh, "raise_by_change"), nothing]
    elif p == "carbonate_hardness" and sheet.water_type not in MARINE:
        first = _change(sheet, band, goal, goal * 1.5, "carbonate_low_soft")
    else:
        first = nothing
    lines = [["if", low, ["if", wait, plain("after_salinity", p), if_trusted(sheet, p, first)], None]]
    if product is not None and fresh is not None:
        free = ["and", low, ["not", wait], ["not", doubted(sheet, p)], [">", fresh, p]]
        lines.append(["if", free, _change(sheet, band, goal, fresh, "or_change"), None])
    return lines


def acid_waits(sheet: TankSheet) -> Expression:
    """Old acid fresh water whose ammonia is high or not known today: nothing may raise its pH yet."""
    if sheet.water_type in MARINE or sheet.band("ph") is None:
        return False
    unsure: Expression = True
    if "ammonia_total" in sheet.parameters():
        unsure = ["or", ["missing", "ammonia_total"], out("ammonia_total", "above")]
    return ["and", out("ph", "below"), unsure]


def dosed_lines(sheet: TankSheet) -> list[Expression]:
    """Alkalinity, calcium, magnesium and the like: raised by dose, lowered by dosing less; after salinity. What raises
    pH waits in old acid water until ammonia is known to be low."""
    lines: list[Expression] = []
    salty = sheet.band("salinity") is not None
    wait = ["or", out("salinity", "below"), out("salinity", "above")] if salty else False
    acid = acid_waits(sheet)
    for p in DOSED:
        band = sheet.band(p)
        if band is None:
            continue
        raising = _raise(sheet, band, wait)
        if p in ("alkalinity", "carbonate_hardness") and acid is not False:
            raising = [["if", acid, None, line] for line in raising]
        lines += raising
        name = "lower_feed" if sheet.product(p) is not None else "look"
        lines.append(["if", out(p, "above"), plain(name, p), None])
    if all(sheet.band(p) and sheet.product(p) for p in ("alkalinity", "calcium")):
        both = ["and", out("alkalinity", "below"), out("calcium", "below"), ["not", wait]]
        lines.append(["if", both, ["say", "apart", {}], None])
    return lines


def _nitrate_down(sheet: TankSheet, band: BandSpec) -> Expression:
    """Litres to change, where it is known what the water for changes holds of it."""
    fresh = sheet.fresh_mix.get("nitrate")
    if fresh is None:
        return plain("lower_untested", "nitrate")
    change = _change(sheet, band, max(band.goal or 0.0, fresh), fresh, "lower_by_change")
    return ["if", [">", "nitrate", fresh], change, plain("lower_by_other", "nitrate")]


def nutrient_lines(sheet: TankSheet) -> list[Expression]:
    """Nitrate by changing water, phosphate slowly; none at all is a fault too."""
    lines: list[Expression] = []
    nitrate, phosphate = sheet.band("nitrate"), sheet.band("phosphate")
    if nitrate is not None:
        lower = _nitrate_down(sheet, nitrate)
        lines.append(["if", out("nitrate", "above"), if_trusted(sheet, "nitrate", lower), None])
        lines.append(["if", out("nitrate", "below"), plain("nutrients_low", "nitrate"), None])
    if phosphate is not None:
        step = phosphate.max_fall_per_day or 0.05
        parts = {
            "parameter": name_of("phosphate"),
            "step": shown("phosphate", phosphate.unit, step, step=True),
            "unit": unit_of(phosphate.unit),
        }
        slowly = if_trusted(sheet, "phosphate", ["say", "lower_slowly", parts])
        lines.append(["if", out("phosphate", "above"), slowly, None])
        lines.append(["if", out("phosphate", "below"), plain("nutrients_low", "phosphate"), None])
    return lines


def together_lines(sheet: TankSheet) -> list[Expression]:
    """A dose and a water change, each within its safe daily change, are not given on one day: their effects add up."""
    dosed = [p for p in DOSED if (band := sheet.band(p)) and band.max_rise_per_day and sheet.product(p)]
    if not dosed or sheet.band("nitrate") is None:
        return []
    wait = [["not", out("salinity", side)] for side in ("below", "above")] if sheet.band("salinity") else []
    both = ["and", ["or", *(out(p, "below") for p in dosed)], out("nitrate", "above"), *wait]
    return [["if", both, ["say", "not_together", {}], None]]


def other_lines(sheet: TankSheet) -> list[Expression]:
    """pH is never chased; old acid water is tested for ammonia first; temperature moves slowly; for everything else
    the cause comes first."""
    lines: list[Expression] = []
    if sheet.band("ph") is not None:
        acid = acid_waits(sheet)
        if acid is not False:
            lines.append(["if", acid, ["say", "acid_old", {}], None])
        off = ["or", out("ph", "below"), out("ph", "above")]
        lines.append(["if", off, ["say", "ph_not_chased", {}], None])
    temperature = sheet.band("temperature")
    if temperature is not None:
        mild = ["or", *(["=", "temperature:word", ["word", side]] for side in ("below", "above"))]
        lines.append(["if", mild, ["say", "temperature_off", step_parts(temperature)], None])
    for band in sheet.bands:
        sides = _without_own_line(sheet, band.parameter)
        if sides:
            off = ["or", *(["=", f"{band.parameter}:word", ["word", side]] for side in sides)]
            lines.append(["if", off, plain("look", band.parameter), None])
    return lines


def step_parts(band: BandSpec) -> dict[str, Expression]:
    """The safe daily change of temperature as parts of a sentence, in the unit shown."""
    step = band.max_rise_per_day or 1.0
    return {"step": shown("temperature", band.unit, step, step=True), "unit": unit_of(band.unit)}


WORDS_OUT = ("below", "above", "below_limit", "above_limit")
OWN_LINES = {
    **dict.fromkeys((*DOSED, "salinity", "ph", "temperature", "nitrate", "phosphate"), WORDS_OUT),
    **dict.fromkeys(("ammonia_total", "chlorine_total"), ("above", "above_limit")),
    "dissolved_oxygen": ("below_limit",),
    "carbon_dioxide": ("above_limit",),
}


def _without_own_line(sheet: TankSheet, parameter: str) -> list[str]:
    """The words of a parameter for which no other line speaks."""
    own = OWN_LINES.get(parameter, ())
    if parameter == "nitrite" and sheet.water_type not in MARINE:
        own = ("above", "above_limit")
    if parameter == "copper" and "copper" in sheet.sensitive:
        own = ("above", "above_limit")
    return [word for word in WORDS_OUT if word not in own]
