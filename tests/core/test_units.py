import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core import units
from servicedesk.core.tables import read_csv

PAIRS = [(p.key, unit) for p in units.PARAMETERS.values() for unit in p.units]


@pytest.mark.parametrize(
    ("text", "value"), [("7.9", 7.9), ("7,9", 7.9), (" 8 ", 8.0), (".5", 0.5), ("-5.2", -5.2), ("780", 780.0)]
)
def test_parse_typed_reads_dot_and_comma(text, value):
    assert units.parse_typed(text) == value


@pytest.mark.parametrize(
    "text", ["", "  ", "1_000", "１２", "nan", "inf", "1e5", "7.9.1", "--3", "0x10", "9" * 40, "٣", "1 2"]
)
def test_parse_typed_refuses_what_is_no_plain_number(text):
    with pytest.raises(units.TypedWrong):
        units.parse_typed(text)


def test_parse_typed_asks_for_what_was_meant():
    with pytest.raises(units.TypedWrong, match="“78o” is not a number. Did you mean 780?"):
        units.parse_typed("78o")


@given(st.sampled_from(PAIRS), st.floats(min_value=-1e5, max_value=1e5))
def test_conversion_there_and_back_gives_the_same_value(pair, value):
    parameter, unit = pair

    there = units.to_canonical(parameter=parameter, value=value, unit=unit)

    assert units.from_canonical(parameter=parameter, value=there, unit=unit) == pytest.approx(
        value, rel=1e-9, abs=1e-7
    )


@pytest.mark.parametrize(("parameter", "unit"), sorted(units.NEEDED))
def test_conversion_that_needs_context_refuses_and_says_what_is_missing(parameter, unit):
    with pytest.raises(units.NeedsContext) as refused:
        units.to_canonical(parameter=parameter, value=1.0, unit=unit)

    assert refused.value.missing == units.NEEDED[parameter, unit]
    assert all(missing in str(refused.value) for missing in refused.value.missing)


def test_conversion_from_an_unknown_unit_names_the_known_ones():
    with pytest.raises(units.UnknownUnit, match="Use one of: dKH, meq/L"):
        units.to_canonical(parameter="alkalinity", value=8, unit="ppm")


def test_unknown_parameter_is_refused():
    with pytest.raises(units.UnknownParameter, match="“love” is not a parameter we know."):
        units.parameter("love")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_conversion_refuses_what_is_not_finite(value):
    with pytest.raises(units.TypedWrong):
        units.to_canonical(parameter="calcium", value=value, unit="mg/L")
    with pytest.raises(units.TypedWrong):
        units.from_canonical(parameter="calcium", value=value, unit="mg/L")


@pytest.mark.parametrize(
    ("parameter", "value", "unit", "text"),
    [
        ("alkalinity", 8.04, None, "8.0"),
        ("calcium", 424.6, None, "425"),
        ("nitrate", 4.4266, "mg/L NO3-N", "1.0"),
        ("salinity", -0.01, None, "0.0"),
    ],
)
def test_show_uses_the_decimals_of_the_parameter(parameter, value, unit, text):
    assert units.show(parameter, value, unit) == text


def test_every_banded_parameter_and_unit_is_in_the_catalogue():
    rows = read_csv("bands.csv")

    assert {r["parameter"] for r in rows} <= set(units.PARAMETERS)
    assert {(r["parameter"], r["unit"]) for r in rows} <= {(p.key, p.unit) for p in units.PARAMETERS.values()}
