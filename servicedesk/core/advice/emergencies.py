"""What is not corrected slowly: act now, then tell the owner. Common practice (no source)."""

from typing import Any

from servicedesk.core.advice.corrections import litre_digits, step_parts
from servicedesk.core.advice.sheet import FRESH, TankSheet

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


def emergency_lines(sheet: TankSheet) -> list[Expression]:
    """Lines that stand before everything else and wait for no other test."""
    have = {b.parameter: b for b in sheet.bands}
    lines = []
    if "ammonia_total" in have:
        litres = _litres(sheet, "ammonia_total", (have["ammonia_total"].high or 0.1) / 2)
        lines.append(_line(_is("ammonia_total", "above", "above_limit"), "act_ammonia", {"litres": litres}))
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
