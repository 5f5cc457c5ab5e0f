"""Compiling one parameter's verdict: in band, out, beyond the limit, or far from history so test again.

Inputs per parameter p: `p` the value (the mean where there are replicates), `p:n` how many results it stands on,
`p:doubt` 1 where it comes from an instrument that is not to be acted on, 0 where it is known to come from elsewhere,
`p:apart` 1 where its results differ by more than chance or the methods' tolerances explain."""

from typing import Any

from servicedesk.core import units
from servicedesk.core.advice.plausible import plausible
from servicedesk.core.advice.sheet import BandSpec, TankSheet

Expression = Any


def inputs_of(parameter: str) -> list[str]:
    """The names of the inputs of one parameter."""
    return [parameter, f"{parameter}:n", f"{parameter}:doubt", f"{parameter}:apart"]


def unit_of(unit: str) -> Expression:
    """A unit as it follows a number in a sentence: with its space, or nothing."""
    word = units.unit_word(unit)
    return ["word", f" {word}" if word else ""]


def shown(parameter: str, unit: str, expression: Expression, *, step: bool = False) -> Expression:
    """An expression in canonical units as text in the shown unit; `step` for a difference (no offset)."""
    factor, offset = units.scale_of(parameter=parameter, unit=unit)
    moved = expression if step or offset == 0 else ["-", expression, offset]
    scaled = moved if factor == 1 else ["/", moved, factor]
    return ["fixed", scaled, units.decimals_in(parameter=parameter, unit=unit)]


def _rounded(band: BandSpec, edge: float) -> Expression:
    """The value as shown compared with the edge as shown: what reads 7.2 is not under 7.2."""
    factor, offset = units.scale_of(parameter=band.parameter, unit=band.unit)
    digits = units.decimals_in(parameter=band.parameter, unit=band.unit)
    return ["round", ["/", ["-", edge, offset], factor], digits]


def word_steps(band: BandSpec) -> list[tuple[str, Expression]]:
    """Steps that make `p:word`: the word without regard to history (null when not tested)."""
    p = band.parameter
    factor, offset = units.scale_of(parameter=p, unit=band.unit)
    digits = units.decimals_in(parameter=p, unit=band.unit)
    word: Expression = ["word", "in_band"]
    edges = (
        ("above", ">", band.high),
        ("below", "<", band.low),
        ("above_limit", ">", band.alarm_high),
        ("below_limit", "<", band.alarm_low),
    )
    for name, compare, edge in edges:
        if edge is not None:
            word = ["if", [compare, f"{p}:shown", _rounded(band, edge)], ["word", name], word]
    return [
        (f"{p}:shown", ["round", ["/", ["-", p, offset], factor], digits]),
        (f"{p}:word", ["if", ["missing", p], None, word]),
    ]


def _outside(parameter: str, low: float, high: float) -> Expression:
    return ["or", ["<", parameter, low], [">", parameter, high]]


def hardly(sheet: TankSheet, parameter: str) -> Expression:
    """Whether such water hardly ever shows this value; False where nothing is said of it."""
    edges = plausible(parameter=parameter, water_type=sheet.water_type)
    return False if edges is None else _outside(parameter, *edges)


def surprise_step(sheet: TankSheet, parameter: str) -> tuple[str, Expression]:
    """Step that makes `p:surprise`: far from history or from what such water shows and standing on one result only, or on
    results that disagree."""
    expected, beyond = sheet.expected.get(parameter), hardly(sheet, parameter)
    apart = ["=", f"{parameter}:apart", 1]
    odd = [] if expected is None else [_outside(parameter, expected.low, expected.high)]
    odd += [] if beyond is False else [beyond]
    if not odd:
        return f"{parameter}:surprise", apart
    alone = ["or", ["missing", f"{parameter}:n"], ["<", f"{parameter}:n", 2]]
    return f"{parameter}:surprise", ["or", apart, ["and", ["or", *odd], alone]]


def _by(band: BandSpec, edge: float, over: bool) -> Expression:
    p = band.parameter
    difference = ["-", p, edge] if over else ["-", edge, p]
    return shown(p, band.unit, difference, step=True)


def _edge_saying(band: BandSpec, name: str, edge: float, part: str) -> Expression:
    over = name.startswith("above")
    return [
        "say",
        name,
        {
            "by": _by(band, edge, over),
            part: shown(band.parameter, band.unit, edge),
            "unit": unit_of(band.unit),
        },
    ]


def _in_band_saying(band: BandSpec) -> Expression:
    unit: Expression = unit_of(band.unit)
    p = band.parameter
    if band.low is not None and band.high is not None:
        low, high = shown(p, band.unit, band.low), shown(p, band.unit, band.high)
        return ["say", "in_band", {"low": low, "high": high, "unit": unit}]
    if band.high is not None:
        return ["say", "in_band_under", {"high": shown(p, band.unit, band.high), "unit": unit}]
    if band.low is not None:
        return ["say", "in_band_over", {"low": shown(p, band.unit, band.low), "unit": unit}]
    return ["say", "no_band", {}]


def verdict_of(sheet: TankSheet, band: BandSpec) -> Expression:
    """The output for one parameter: a saying whose `with` holds the word, the word without history, the value."""
    p = band.parameter
    saying = _in_band_saying(band)
    edges = (
        ("above", band.high, "high"),
        ("below", band.low, "low"),
        ("above_limit", band.alarm_high, "limit"),
        ("below_limit", band.alarm_low, "limit"),
    )
    for name, edge, part in edges:
        if edge is not None:
            saying = ["if", ["=", f"{p}:word", ["word", name]], _edge_saying(band, name, edge, part), saying]
    expected = sheet.expected.get(p)
    if expected is not None:
        again = {
            "low": shown(p, band.unit, expected.low),
            "high": shown(p, band.unit, expected.high),
            "value": shown(p, band.unit, p),
            "unit": unit_of(band.unit),
        }
        saying = ["if", f"{p}:surprise", ["say", "test_again", again], saying]
    usual = plausible(parameter=p, water_type=sheet.water_type)
    if usual is not None:
        odd = {
            "low": shown(p, band.unit, usual[0]),
            "high": shown(p, band.unit, usual[1]),
            "value": shown(p, band.unit, p),
            "unit": unit_of(band.unit),
        }
        beyond = ["and", f"{p}:surprise", hardly(sheet, p)]
        saying = ["if", beyond, ["say", "hardly", odd], saying]
    saying = ["if", ["=", f"{p}:apart", 1], ["say", "results_apart", {}], saying]
    word = ["if", f"{p}:surprise", ["word", "test_again"], f"{p}:word"]
    return [
        "if",
        ["missing", p],
        None,
        ["list", word, saying, f"{p}:word"],
    ]
