"""The core against published check values (fixtures/reference; each row names its source and its own tolerance)."""

import csv
from pathlib import Path

import pytest

from servicedesk.core import units
from servicedesk.core.chemistry import salinity
from servicedesk.core.tables import read_csv

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "reference"


def rows(name: str) -> dict[str, dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8") as lines:
        return {row["id"]: row for row in csv.DictReader(lines)}


def test_every_file_of_check_values_is_held_here_or_named():
    """Rows are held in test_checks; series in test_metrology and test_supplies_and_calendar where a function exists."""
    named = {
        "units_chemistry.csv", "volume_and_water_change.csv", "dosing.csv", "seawater.csv", "ammonia.csv",
        "molar_masses.csv", "default_bands.csv", "metrology.csv", "series.json", "carbonate.csv", "seawater_composition.csv",
        "treatments.csv", "inventory.csv",
    }  # fmt: skip
    no_function_yet = {
        "westgard.json", "glassware_tolerances.csv", "piston_pipettes.csv",
    }  # fmt: skip
    background = {"health_ranges.csv", "hazards.json"}

    assert {path.name for path in FOLDER.iterdir()} == named | no_function_yet | background


MASSES = {row["species"]: float(row["g_per_mol"]) for row in csv.DictReader((FOLDER / "molar_masses.csv").open(encoding="utf-8"))}  # fmt: skip
IONS = {"calcium": "Ca", "magnesium": "Mg", "potassium": "K", "nitrate": "NO3"}
BY_MASS = {
    ("alkalinity", "meq/L"): MASSES["CaO"] / 20,
    ("alkalinity", "mmol/L"): MASSES["CaO"] / 20,
    ("alkalinity", "mg/L CaCO3"): MASSES["CaO"] / MASSES["CaCO3"] / 10,
    ("general_hardness", "mg/L CaCO3"): MASSES["CaO"] / MASSES["CaCO3"] / 10,
    ("general_hardness", "mmol/L"): MASSES["CaO"] / 10,
    ("calcium", "mmol/L"): MASSES["Ca"],
    ("magnesium", "mmol/L"): MASSES["Mg"],
    ("potassium", "mmol/L"): MASSES["K"],
    ("ammonia_total", "mg/L NH3"): MASSES["N"] / MASSES["NH3"],
    ("ammonia_total", "mg/L NH4"): MASSES["N"] / MASSES["NH4"],
    ("nitrite", "mg/L NO2-N"): MASSES["NO2"] / MASSES["N"],
    ("nitrate", "mg/L NO3-N"): MASSES["NO3"] / MASSES["N"],
    ("nitrate", "µmol/L"): MASSES["NO3"] / 1000,
    ("phosphate", "mg/L PO4-P"): MASSES["PO4"] / MASSES["P"],
    ("phosphate", "µg/L P"): MASSES["PO4"] / MASSES["P"] / 1000,
    ("phosphate", "µmol/L"): MASSES["PO4"] / 1000,
    ("dissolved_oxygen", "µmol/L"): MASSES["O2"] / 1000,
}


@pytest.mark.parametrize("pair", sorted(BY_MASS))
def test_factor_of_a_unit_comes_from_the_molar_masses(pair):
    parameter, unit = pair

    assert units.scale_of(parameter=parameter, unit=unit)[0] == pytest.approx(BY_MASS[pair], rel=1e-5)


def test_carbonate_hardness_has_the_units_of_alkalinity():
    pairs = [(units.PARAMETERS[key].units, key) for key in ("alkalinity", "carbonate_hardness")]

    assert pairs[0][0] == pairs[1][0]
    for unit in pairs[0][0]:
        assert len({units.scale_of(parameter=key, unit=unit) for _units, key in pairs}) == 1


def test_every_factor_that_is_not_exact_is_checked_against_the_molar_masses():
    chemical = {(r["parameter"], r["unit"]) for r in read_csv("units.csv") if "IUPAC" in r["source"]}

    assert chemical - {(k, u) for k, u in chemical if k == "carbonate_hardness"} <= set(BY_MASS)


@pytest.mark.parametrize("row", read_csv("salts.csv"), ids=lambda row: row["salt"])
def test_a_salts_mass_and_what_it_carries_come_from_the_molar_masses(row):
    carried = float(row["units_per_mol"])
    ion = IONS.get(row["parameter"])

    assert float(row["g_per_mol"]) == pytest.approx(MASSES[row["salt"]], abs=5e-4)
    if ion is None:
        assert carried == (2 if row["salt"] in ("Na2CO3", "Ca(OH)2") else 1)
    else:
        assert carried == pytest.approx(MASSES[ion] * (2 if row["salt"] == "K2SO4" else 1), abs=5e-4)


def test_the_bands_are_the_reference_files_bands():
    def key(row: dict[str, str]) -> tuple[str, str]:
        return row["water_type"], row["parameter"]

    with (FOLDER / "default_bands.csv").open(encoding="utf-8") as lines:
        wanted = sorted(csv.DictReader(lines), key=key)

    assert sorted(read_csv("bands.csv"), key=key) == wanted


@pytest.mark.parametrize("gravity", [1.0200, 1.0248576, 1.0263727])
def test_salinity_from_specific_gravity_there_and_back(gravity):
    found = salinity.practical_from_specific_gravity(gravity=gravity, temperature_c=25, reference_c=25)

    again = salinity.specific_gravity(salinity=found, temperature_c=25, reference_c=25)

    assert again == pytest.approx(gravity, abs=1e-7)
