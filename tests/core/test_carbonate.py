"""The carbonate system against an independent solver, its own inverse, and sense."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.core.chemistry import carbonate
from servicedesk.core.chemistry.salinity import OutOfRange

WATER = {"salinity": 35.0, "temperature_c": 25.0}


def test_it_agrees_with_an_independent_solver_over_all_tanks():
    """PyCO2SYS 1.8 (Humphreys et al. 2022, Geosci. Model Dev. 15, 15), on the same choice of constants. It turns the constant of water
    from another scale, which moves dissolved carbon by up to 0.3 µmol/kg."""
    import PyCO2SYS as pyco2  # noqa: PLC0415  heavy: a second solver, only here

    cases = [
        (alkalinity, ph, salinity, temperature)
        for alkalinity in (1800.0, 2400.0, 3500.0)
        for ph in (7.7, 8.1, 8.5)
        for salinity in (30.0, 35.0, 40.0)
        for temperature in (15.0, 25.0, 30.0)
    ]
    alkalinities, phs, salinities, temperatures = zip(*cases, strict=True)
    theirs = pyco2.sys(
        par1=list(alkalinities), par1_type=1, par2=list(phs), par2_type=3, salinity=list(salinities), temperature=list(temperatures),
        opt_k_carbonic=10, opt_total_borate=1, opt_k_fluoride=1, opt_k_bisulfate=1,
    )  # fmt: skip

    for number, (alkalinity, ph, salinity, temperature) in enumerate(cases):
        ours = carbonate.from_ph(
            alkalinity_umol_kg=alkalinity, ph_total=ph, salinity=salinity, temperature_c=temperature
        )
        assert ours.dic_umol_kg == pytest.approx(theirs["dic"][number], abs=0.5)
        assert ours.pco2_uatm == pytest.approx(theirs["pCO2"][number], rel=2e-3)
        assert ours.aragonite == pytest.approx(theirs["saturation_aragonite"][number], rel=2e-3)
        assert ours.calcite == pytest.approx(theirs["saturation_calcite"][number], rel=2e-3)
        for scale, column in (("free", "pH_free"), ("seawater", "pH_sws"), ("NBS", "pH_nbs")):
            moved = carbonate.ph_on(
                ph=ph, scale="total", to=scale, salinity=salinity, temperature_c=temperature
            )
            assert moved == pytest.approx(theirs[column][number], abs=2e-3)


waters = {
    "salinity": st.floats(19, 43),
    "temperature_c": st.floats(2, 35),
}


@given(alkalinity=st.floats(1500, 6000), ph=st.floats(7.0, 8.6), **waters)
def test_carbon_from_ph_gives_that_ph_back(alkalinity, ph, salinity, temperature_c):
    water = {"salinity": salinity, "temperature_c": temperature_c}
    found = carbonate.from_ph(alkalinity_umol_kg=alkalinity, ph_total=ph, **water)
    back = carbonate.ph_from_dic(alkalinity_umol_kg=alkalinity, dic_umol_kg=found.dic_umol_kg, **water)

    assert back == pytest.approx(ph, abs=1e-6)
    assert found.ph_total == ph


@given(ph=st.floats(7.0, 8.5), rise=st.floats(0.01, 0.3), **waters)
def test_a_higher_ph_holds_less_carbon_dioxide_and_more_carbonate(ph, rise, salinity, temperature_c):
    lower, higher = (
        carbonate.from_ph(alkalinity_umol_kg=2800, ph_total=p, salinity=salinity, temperature_c=temperature_c)
        for p in (ph, ph + rise)
    )
    assert higher.pco2_uatm < lower.pco2_uatm
    assert higher.co2_umol_kg < lower.co2_umol_kg
    assert higher.dic_umol_kg < lower.dic_umol_kg
    assert higher.aragonite > lower.aragonite


@given(
    ph=st.floats(7, 9),
    scale=st.sampled_from(carbonate.SCALES),
    to=st.sampled_from(carbonate.SCALES),
    **waters,
)
def test_a_ph_moved_there_and_back_is_the_same(ph, scale, to, salinity, temperature_c):
    water = {"salinity": salinity, "temperature_c": temperature_c}
    there = carbonate.ph_on(ph=ph, scale=scale, to=to, **water)

    assert carbonate.ph_on(ph=there, scale=to, to=scale, **water) == pytest.approx(ph, abs=1e-9)
    assert abs(there - ph) < 0.35


def test_a_measured_calcium_counts_in_place_of_that_of_the_sea():
    asked = {"alkalinity_umol_kg": 2500, "ph_total": 8.1, **WATER}
    usual = carbonate.from_ph(**asked)
    of_the_sea = carbonate.constants(**WATER).calcium * 1e6

    assert of_the_sea == pytest.approx(10_282, rel=2e-3)
    assert carbonate.from_ph(**asked, calcium_umol_kg=of_the_sea / 2).aragonite == pytest.approx(
        usual.aragonite / 2
    )
    assert carbonate.from_ph(**asked, calcium_umol_kg=0).aragonite == 0


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"salinity": 5}, "salinity 19 to 43"),
        ({"temperature_c": 40}, "2 to 35 °C"),
        ({"salinity": math.nan}, "salinity 19 to 43"),
        ({"ph_total": 12}, "between 3 and 11"),
        ({"ph_total": math.nan}, "between 3 and 11"),
        ({"calcium_umol_kg": -1}, "nought or above"),
        ({"alkalinity_umol_kg": 50, "ph_total": 9.5}, "one of the two is wrong"),
        ({"alkalinity_umol_kg": math.nan}, "one of the two is wrong"),
    ],
)
def test_what_cannot_be_is_refused_in_words(change, sentence):
    asked = {"alkalinity_umol_kg": 2500, "ph_total": 8.1, **WATER}
    with pytest.raises(OutOfRange, match=sentence):
        carbonate.from_ph(**{**asked, **change})


@pytest.mark.parametrize(
    ("alkalinity", "dic", "sentence"),
    [(2300, -1, "nought or above"), (900_000, 100, "No pH between"), (math.nan, 2000, "No pH between")],
)
def test_no_ph_is_made_up_for_what_has_none(alkalinity, dic, sentence):
    with pytest.raises(OutOfRange, match=sentence):
        carbonate.ph_from_dic(alkalinity_umol_kg=alkalinity, dic_umol_kg=dic, **WATER)


@pytest.mark.parametrize(("scale", "to"), [("meter", "total"), ("total", "meter")])
def test_an_unknown_scale_is_refused(scale, to):
    with pytest.raises(OutOfRange, match="total, free, seawater, NBS"):
        carbonate.ph_on(ph=8, scale=scale, to=to, **WATER)
