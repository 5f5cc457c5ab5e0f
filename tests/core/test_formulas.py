"""Formulas, what sea water holds, and the arithmetic of treatments."""

import csv
import math
from pathlib import Path

import pytest

from servicedesk.core.chemistry import composition, treatments
from servicedesk.core.chemistry.formulas import NoFormula, atoms, molar_mass, share_of
from servicedesk.core.chemistry.salinity import OutOfRange

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "reference"
NOT_SPELLED = {"BOH4": "B(OH)4", "BOH3": "B(OH)3"}


def rows(name):
    with (FOLDER / name).open(encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", rows("molar_masses.csv"), ids=lambda row: row["species"])
def test_molar_masses_are_those_of_the_table(row):
    formula = NOT_SPELLED.get(row["species"], row["species"])

    assert molar_mass(formula) == pytest.approx(float(row["g_per_mol"]), rel=2e-5)


@pytest.mark.parametrize(
    ("formula", "found"),
    [
        ("CaCl2.2H2O", {"Ca": 1, "Cl": 2, "H": 4, "O": 2}),
        ("CaCl2·2H2O", {"Ca": 1, "Cl": 2, "H": 4, "O": 2}),
        ("Ca(OH)2", {"Ca": 1, "O": 2, "H": 2}),
        ("Mg(B(OH)4)2", {"Mg": 1, "B": 2, "O": 8, "H": 8}),
        ("2NaCl", {"Na": 2, "Cl": 2}),
    ],
)
def test_a_formula_is_read_into_its_atoms(formula, found):
    assert dict(atoms(formula)) == found


@pytest.mark.parametrize(
    ("formula", "sentence"),
    [
        ("", "not a formula"),
        ("CaCl2.", "not a formula"),
        ("calcium", "not a formula"),
        ("Ca Cl2", "not a formula"),
        ("Ca(OH2", "not a formula"),
        ("CaOH)2", "never opened"),
        ("Ca()2", "nothing in it"),
        ("(2)Ca", "counts nothing"),
        ("Ca22 2", "not a formula"),
        ("Xx", "“Xx” is not among the elements"),
    ],
)
def test_what_is_no_formula_is_refused_in_words(formula, sentence):
    with pytest.raises(NoFormula, match=sentence):
        atoms(formula)


def test_a_share_leaves_water_of_crystallisation_out_of_the_ion_and_not_of_the_salt():
    assert share_of("Ca", "CaCl2.2H2O") == pytest.approx(40.078 / 147.008, rel=1e-5)
    assert share_of("K", "K2SO4") == pytest.approx(2 * 39.098 / 174.252, rel=1e-4)
    assert share_of("NO3", "NaNO3") == pytest.approx(62.004 / 84.994, rel=1e-5)
    with pytest.raises(NoFormula, match="holds no H2O"):
        share_of("H2O", "CaCl2.2H2O")


@pytest.mark.parametrize("row", rows("seawater_composition.csv"), ids=lambda row: row["species"])
def test_sea_water_holds_what_the_reference_composition_says(row):
    ion = NOT_SPELLED.get(row["species"], row["species"])
    if ion not in composition.FRACTIONS:
        assert row["species"] in ("BOH3", "CO2")  # no ions
        return
    held = composition.milligrams_per_kg(ion=ion, salinity=35)

    assert held == pytest.approx(float(row["mg_per_kg_at_SP35"]), rel=1e-4, abs=5e-5)
    assert composition.milligrams_per_kg(ion=ion, salinity=17.5) == pytest.approx(held / 2)


@pytest.mark.parametrize(("ion", "salinity"), [("Au", 35), ("Ca", -1)])
def test_the_composition_of_what_is_no_sea_water_is_refused(ion, salinity):
    with pytest.raises(OutOfRange, match="Known are Na, Mg"):
        composition.milligrams_per_kg(ion=ion, salinity=salinity)


def test_the_reaction_that_takes_the_most_thiosulphate_is_named_first():
    taken = [
        treatments.thiosulphate_mg(chlorine_mg=1, reaction=name)
        for name in treatments.CHLORINE_PER_THIOSULPHATE
    ]

    assert taken == sorted(taken, reverse=True)
    assert treatments.thiosulphate_mg(chlorine_mg=0, reaction="sulphate") == 0


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda: treatments.thiosulphate_mg(chlorine_mg=-1, reaction="sulphate"), "Chlorine lies"),
        (lambda: treatments.thiosulphate_mg(chlorine_mg=1, reaction="magic"), "one of tetrathionate"),
        (lambda: treatments.ammonia_from_chloramine_mg_l_n(as_chlorine_mg_l=math.nan), "Chloramine lies"),
        (lambda: treatments.copper_salt_mg(copper_mg_l=0.2, net_l=-5), "Volume lies"),
        (lambda: treatments.copper_salt_mg(copper_mg_l=0.2, net_l=5, salt="NaCl"), "holds no Cu"),
        (lambda: treatments.oxygen_taken_mg_l(formalin_mg_l=math.inf), "Formalin lies"),
        (lambda: treatments.diluted_percent(stock_percent=101, stock_parts=1, water_parts=1), "0 and 100 %"),
        (lambda: treatments.diluted_percent(stock_percent=5, stock_parts=0, water_parts=0), "some parts"),
    ],
)
def test_amounts_that_cannot_be_are_refused_in_words(ask, sentence):
    with pytest.raises(ValueError, match=sentence):
        ask()
