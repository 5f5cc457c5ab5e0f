"""Ammonia on another scale of pH, and the criteria for rivers and lakes. The published values are in test_checks."""

import pytest

from servicedesk.core.chemistry import ammonia, salinity
from servicedesk.core.chemistry.carbonate import ph_on
from servicedesk.core.chemistry.salinity import OutOfRange

SEA = {"temperature_c": 25.0, "salinity": 35.0}


def test_the_same_water_read_on_two_scales_holds_much_the_same_ammonia():
    on_nbs = ammonia.toxic_fraction_sea(ph=8.2, scale="NBS scale", **SEA)
    total = ph_on(ph=8.2, scale="NBS", to="total", **SEA)
    on_total = ammonia.toxic_fraction_sea(ph=total, scale="total scale", **SEA)
    mixed_up = ammonia.toxic_fraction_sea(ph=8.2, scale="total scale", **SEA)

    assert on_total == pytest.approx(on_nbs, rel=0.1)
    assert mixed_up > 1.2 * on_nbs


def test_harder_water_for_fish_allows_less_ammonia():
    for criterion in (ammonia.acute_criterion_mg_l_n, ammonia.chronic_criterion_mg_l_n):
        by_ph = [criterion(ph=ph, temperature_c=20) for ph in (6.5, 7, 7.5, 8, 8.5, 9)]
        assert by_ph == sorted(by_ph, reverse=True)
        assert criterion(ph=8, temperature_c=30) < criterion(ph=8, temperature_c=15)
    assert ammonia.chronic_criterion_mg_l_n(ph=8, temperature_c=20) < ammonia.acute_criterion_mg_l_n(
        ph=8, temperature_c=20
    )


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda: ammonia.toxic_fraction_sea(ph=8, scale="meter", **SEA), "NBS scale, total scale"),
        (lambda: ammonia.toxic_fraction_sea(ph=11, scale="total scale", **SEA), "pH 5 to 10"),
        (lambda: ammonia.pk_total_scale(temperature_c=41, salinity=35), "-2 to 40 °C"),
        (lambda: ammonia.pk_total_scale(temperature_c=25, salinity=41), "salinity 0 to 40"),
        (lambda: ammonia.acute_criterion_mg_l_n(ph=9.1, temperature_c=20), "pH 6.5 to 9"),
        (lambda: ammonia.chronic_criterion_mg_l_n(ph=8, temperature_c=31), "0 to 30 °C"),
        (lambda: salinity.density_eos80(salinity=50, temperature_68_c=20), "salinity 0 to 42"),
        (
            lambda: salinity.practical_from_conductivity(
                conductivity_ms_cm=50, temperature_c=20, pressure_dbar=-1
            ),
            "0 to 10,000 dbar",
        ),
    ],
)
def test_outside_its_range_a_formula_says_so(ask, sentence):
    with pytest.raises(OutOfRange, match=sentence):
        ask()


def test_old_tables_and_new_equation_differ_by_little_in_a_tank():
    for celsius in (5, 15, 25, 30):
        assert salinity.density_eos80(salinity=35, temperature_68_c=celsius) == pytest.approx(
            salinity.density(salinity=35, temperature_c=celsius), abs=0.01
        )
