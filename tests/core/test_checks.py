"""Published values recomputed by the core's own rules, and what is said of rows that cannot be."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from servicedesk.core.checks import ROUNDED, BadRows, check, read_rows
from servicedesk.core.checks.rules import RULES

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "reference"
HEAD = "id,topic,quantity,inputs,expected,tolerance,tol_kind,unit,source,how\n"
FILES = ("units_chemistry", "volume_and_water_change", "dosing", "seawater", "ammonia", "carbonate", "metrology", "inventory", "treatments")  # fmt: skip
ROWS = {row.id: row for name in FILES for row in read_rows((FOLDER / f"{name}.csv").read_text("utf-8"))}
NOT_PASSED = {
    "g_croston": ("failed", ROUNDED),  # a tolerance of 1e-9 on a value printed to eight figures
    "g_sba": ("failed", ROUNDED),
}


@pytest.mark.parametrize("key", sorted(ROWS))
def test_a_published_value_is_met_within_its_own_tolerance_or_named_here(key):
    found = check(ROWS[key], RULES)

    assert (found.outcome, found.why) == NOT_PASSED.get(key, ("passed", "")), (
        found.got,
        ROWS[key].expected,
        ROWS[key].source,
    )


def test_all_rows_of_the_files_are_read():
    assert len(ROWS) == 256
    assert sum(row.from_memory for row in ROWS.values()) == 5


def test_a_rule_computes_from_the_inputs_and_never_knows_a_row_by_heart():
    """Each number that stands among the inputs of a topic moves what comes out of at least one of its rows."""
    named, moving = set(), set()
    for row in ROWS.values():
        before = check(row, RULES).got
        for name, value in row.inputs.items():
            if before is None or not isinstance(value, int | float) or value == 0:
                continue
            named.add((row.topic, name))
            for factor in (0.9, 1.001, 1.04):
                after = check(replace(row, inputs={**row.inputs, name: value * factor}), RULES).got
                if after not in (None, before):
                    moving.add((row.topic, name))
    assert named - moving == set()
    assert len(named) > 60


def row_of(**given):
    said = {"id": "x", "topic": "units", "quantity": "temperature F -> C", "inputs": {"F": 212}, "expected": "100", "tolerance": "1e-9", "tol_kind": "abs", "unit": "C"} | given  # fmt: skip
    line = ",".join('"' + (json.dumps(v) if isinstance(v, dict) else str(v)).replace('"', '""') + '"' for v in said.values())  # fmt: skip
    [row] = read_rows(",".join(said) + "\n" + line + "\n")
    return row


@pytest.mark.parametrize(
    ("given", "outcome", "why"),
    [
        ({}, "passed", ""),
        ({"expected": "99"}, "failed", ""),
        ({"expected": "0", "tol_kind": "rel"}, "unknown", "about nought says nothing"),
        ({"quantity": "temperature F -> R"}, "unknown", "Nothing here computes this"),
        ({"topic": "weather"}, "unknown", "Nothing here computes this"),
        ({"topic": "dilution", "quantity": "standard dilution", "inputs": {"c1": 1}}, "unknown", "'V1_mL' is missing"),
        ({"inputs": {"F": {}}}, "unknown", "another kind"),
        ({"inputs": {}}, "failed", "not enough values"),
        ({"topic": "volume", "quantity": "rectangular tank", "inputs": {"L_cm": 0, "W_cm": 1, "H_cm": 1}}, "failed", "above nought"),
        ({"topic": "ammonia_fresh", "quantity": "un-ionised fraction", "inputs": {"T_C": 90, "pH": 7}}, "failed", "0 to 50 °C"),
        ({"topic": "stoichiometry", "quantity": "Mg taken with Ca", "inputs": {"mol_fraction_MgCO3": 1}}, "failed", "division by nought"),
        ({"topic": "dosing", "quantity": "pure Xx2 to raise Ca 1 mg/L"}, "failed", "not among the elements"),
        ({"topic": "dosing", "quantity": "pure NaCl to raise Ca 1 mg/L"}, "failed", "holds no Ca"),
    ],
)  # fmt: skip
def test_a_row_says_what_stands_against_it(given, outcome, why):
    found = check(row_of(**given), RULES)

    assert found.outcome == outcome
    assert re.search(re.escape(why), found.why)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("species,g_per_mol\nH,1.008\n", "the column id is missing"),
        ("", "the column id is missing"),
        (HEAD + "a,units,q,{bad,1,1,abs,,,\n", "Row a: its inputs are no JSON object"),
        (HEAD + "a,units,q,[1],1,1,abs,,,\n", "Row a: its inputs are no JSON object"),
        (HEAD + "a,units,q,,one,1,abs,,,\n", "Row a: what is expected is no number"),
        (HEAD + "a,units,q,,inf,1,abs,,,\n", "Row a: what is expected is no number"),
        (HEAD + "a,units,q,,1,,abs,,,\n", "Row a: its tolerance is no number"),
        (HEAD + "a,units,q,,1,-1,abs,,,\n", "Row a: its tolerance is below nought"),
        (HEAD + "a,units,q,,1,1,about,,,\n", "Row a: its tolerance is neither abs nor rel"),
        (HEAD + "\n,units\n", "Row on line 2: its tolerance is neither abs nor rel"),
    ],
)
def test_a_file_that_cannot_be_read_says_where_and_why(text, sentence):
    with pytest.raises(BadRows, match=re.escape(sentence)):
        read_rows(text)
