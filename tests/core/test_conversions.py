import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.core import units
from servicedesk.core.chemistry import ammonia, conversions, oxygen, salinity
from servicedesk.core.chemistry.conversions import Context, from_canonical, to_canonical
from servicedesk.core.chemistry.salinity import OutOfRange

KNOWN = Context(
    temperature_c=25.0,
    salinity=35.0,
    reference_c=20.0,
    ph=8.1,
    ph_scale="NBS scale",
    pressure_hpa=1000.0,
    tds_factor=0.5,
)
VALUES = {("salinity", "SG"): (1.015, 1.03), ("salinity", "mS/cm"): (20.0, 60.0)}


@pytest.mark.parametrize(("parameter", "unit"), sorted(set(conversions.TURNS) - {("salinity", "g/kg")}))
def test_conversion_without_context_names_what_is_missing(parameter, unit):
    with pytest.raises(units.NeedsContext) as refused:
        to_canonical(parameter=parameter, value=1.0, unit=unit)

    assert refused.value.missing
    assert all(word in str(refused.value) for word in refused.value.missing)


@settings(deadline=None)  # the first example loads gsw
@given(st.sampled_from(sorted(conversions.TURNS)), st.floats(0, 1))
def test_conversion_with_context_there_and_back_gives_the_same_value(pair, share):
    low, high = VALUES.get(pair, (0.1, 100.0))
    value = low + share * (high - low)

    there = to_canonical(parameter=pair[0], value=value, unit=pair[1], context=KNOWN)

    assert from_canonical(parameter=pair[0], value=there, unit=pair[1], context=KNOWN) == pytest.approx(
        value, rel=2e-7
    )


def test_conversion_that_needs_nothing_goes_straight_to_the_factors():
    assert to_canonical(parameter="temperature", value=78.8, unit="F") == pytest.approx(26.0)
    assert from_canonical(parameter="temperature", value=26.0, unit="F") == pytest.approx(78.8)


def test_every_unit_that_needs_context_and_has_a_formula_is_converted_here():
    assert set(conversions.TURNS) == set(units.NEEDED) - {("ph", "total scale")}


def test_conversion_of_what_is_not_finite_is_refused():
    with pytest.raises(units.TypedWrong):
        to_canonical(parameter="salinity", value=float("nan"), unit="SG", context=KNOWN)


def test_total_ammonia_from_its_toxic_part_in_fresh_water():
    """Francis-Floyd & Watson 1996, UF/IFAS FA-16, worked example: 1.0 mg/L at 24 °C and pH 8.0 is 0.0502 mg/L."""
    known = Context(temperature_c=24.0, salinity=0.0, ph=8.0, ph_scale="NBS scale")

    got = to_canonical(parameter="ammonia_total", value=0.0502, unit="mg/L N un-ionised", context=known)

    assert got == pytest.approx(1.0, abs=2e-3)


def test_oxygen_at_a_lower_air_pressure_is_less_in_proportion_above_the_vapour():
    vapour = oxygen.vapour_pressure_hpa(temperature_c=25.0)
    full = oxygen.saturation_mg_l(salinity=0, temperature_c=25.0)

    half = oxygen.saturation_mg_l(
        salinity=0, temperature_c=25.0, pressure_hpa=vapour + (oxygen.ONE_ATMOSPHERE_HPA - vapour) / 2
    )

    assert vapour == pytest.approx(31.7, abs=0.2)  # 3.169 kPa at 25 °C in steam tables (from memory)
    assert half == pytest.approx(full / 2)


def test_salts_in_a_litre_of_sea_water():
    """35.16504 g/kg (Millero et al. 2008) times the density at 25 °C."""
    assert salinity.salts_g(litres=10, salinity=35, temperature_c=25) == pytest.approx(359.86, abs=0.01)


@pytest.mark.parametrize(
    "call",
    [
        lambda: ammonia.toxic_fraction_fresh(temperature_c=60, ph=8),
        lambda: ammonia.toxic_fraction_fresh(temperature_c=20, ph=5),
        lambda: ammonia.toxic_fraction_sea(temperature_c=25, ph=8, salinity=20, scale="NBS scale"),
        lambda: ammonia.toxic_fraction_sea(temperature_c=25, ph=8, salinity=35, scale="free scale"),
        lambda: oxygen.saturation_umol_kg(salinity=50, temperature_c=20),
        lambda: oxygen.saturation_mg_l(salinity=35, temperature_c=20, pressure_hpa=10),
        lambda: salinity.density(salinity=50, temperature_c=20),
        lambda: salinity.conductivity(salinity=0, temperature_c=20),
        lambda: salinity.practical_from_conductivity(conductivity_ms_cm=0, temperature_c=20),
        lambda: salinity.practical_from_specific_gravity(gravity=1.2, temperature_c=25, reference_c=25),
    ],
)
def test_a_formula_outside_its_range_is_refused(call):
    with pytest.raises(OutOfRange):
        call()


def test_the_scale_of_a_ph_is_not_guessed():
    with pytest.raises(units.NeedsContext, match="the scale of the pH"):
        to_canonical(
            parameter="ammonia_total",
            value=0.01,
            unit="mg/L N un-ionised",
            context=Context(temperature_c=25.0, salinity=35.0, ph=8.1),
        )
