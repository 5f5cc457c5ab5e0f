"""What is not corrected slowly: act now, then tell the owner. Common practice (no source)."""

from typing import Any

from servicedesk.core.advice.corrections import litre_digits, step_parts
from servicedesk.core.advice.sheet import FRESH, TankSheet
from servicedesk.core.advice.toxic import HARMFUL, TOXIC, toxic_steps

Expression = Any
MOST_AT_ONCE = 0.5


def _is(parameter: str, *words: str) -> Expression:
    return ["or", *(["=", f"{parameter}:word", ["word", word]] for word in words)]


def _litres(sheet: TankSheet, parameter: str, goal: float) -> Expression:
    """Litres that bring a value to the goal with water free of it, at most half the tank at once."""
    part = ["/", ["-", parameter, goal], parameter]
    return ["fixed", ["*", sheet.net_l, ["clamp", part, 0, MOST_AT_ONCE]], litre_digits(sheet)]


def _line(condition: Expression, name: str, parts: dict[str, Expression]) -> Expression:
    return ["if", condition, ["say", name, parts, {"urgent": True}], None]


def _ammonia_lines(sheet: TankSheet, high: float) -> list[Expression]:
    """Total ammonia over its band is acted on at once. Where pH and temperature of today tell how much of it is toxic, that is
    said: of little the warning is against raising the pH, and much counts even within the band."""
    parts = {"litres": _litres(sheet, "ammonia_total", high / 2)}
    over = _is("ammonia_total", "above", "above_limit")
    if not toxic_steps(sheet):
        return [_line(over, "act_ammonia", parts)]
    known = ["not", ["missing", TOXIC]]
    bound = ["and", over, known, ["<", TOXIC, HARMFUL]]
    toxic = {**parts, "toxic": ["fixed", TOXIC, 3]}
    return [
        _line(["and", over, known, [">=", TOXIC, HARMFUL]], "act_ammonia_toxic", toxic),
        _line(["and", over, ["missing", TOXIC]], "act_ammonia", parts),
        _line(bound, "ammonia_bound", {**toxic, "total": ["fixed", "ammonia_total", 2]}),
        _line(["and", ["not", over], known, [">=", TOXIC, HARMFUL]], "act_ammonia_toxic", toxic),
    ]


def emergency_lines(sheet: TankSheet) -> list[Expression]:
    """Lines that stand before everything else and wait for no other test."""
    have = {b.parameter: b for b in sheet.bands}
    lines = []
    if "ammonia_total" in have:
        lines += _ammonia_lines(sheet, have["ammonia_total"].high or 0.1)
    if "nitrite" in have and sheet.water_type in (*FRESH, "brackish"):
        litres = _litres(sheet, "nitrite", (have["nitrite"].high or 0.1) / 2)
        lines.append(_line(_is("nitrite", "above", "above_limit"), "act_nitrite", {"litres": litres}))
    if "chlorine_total" in have:
        lines.append(_line(_is("chlorine_total", "above", "above_limit"), "act_chlorine", {}))
    if "dissolved_oxygen" in have:
        lines.append(_line(_is("dissolved_oxygen", "below_limit"), "act_oxygen", {}))
    if "temperature" in have:
        lines.append(_line(_is("temperature", "above_limit"), "act_heat", {}))
        lines.append(_line(_is("temperature", "below_limit"), "act_cold", step_parts(have["temperature"])))
    if "carbon_dioxide" in have:
        lines.append(_line(_is("carbon_dioxide", "above_limit"), "act_co2", {}))
    if "copper" in have and "copper" in sheet.sensitive:
        litres = _litres(sheet, "copper", 0.0)
        lines.append(_line(_is("copper", "above", "above_limit"), "act_copper", {"litres": litres}))
    return lines
