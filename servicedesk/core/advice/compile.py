"""From a tank's sheet to its rule program (see core.program for the form)."""

from functools import lru_cache
from typing import Any

from servicedesk.core.advice.corrections import (
    dosed_lines,
    nutrient_lines,
    other_lines,
    salinity_lines,
    together_lines,
)
from servicedesk.core.advice.emergencies import emergency_lines
from servicedesk.core.advice.sheet import FORBIDDING, BandSpec, TankSheet
from servicedesk.core.advice.toxic import toxic_steps
from servicedesk.core.advice.verdicts import inputs_of, surprise_step, verdict_of, word_steps
from servicedesk.core.program import check
from servicedesk.core.program.evaluate import VERSION, Checked
from servicedesk.core.units import parameter

STATE_WORDS = {"treatment": "treatment", "low_salinity": "low-salinity treatment", "heat": "heat treatment"}


def _band(sheet: TankSheet, key: str) -> BandSpec:
    return sheet.band(key) or BandSpec(parameter=key, unit=parameter(key).unit)


def _advice(sheet: TankSheet, bands: list[BandSpec]) -> list[Any]:
    salinity = sheet.band("salinity")
    lines = salinity_lines(sheet, salinity) if salinity is not None else []
    well = [_all_well(bands)] if bands else []
    return [
        *lines,
        *dosed_lines(sheet),
        *nutrient_lines(sheet),
        *together_lines(sheet),
        *other_lines(sheet),
        *well,
    ]


def _all_well(bands: list[BandSpec]) -> Any:
    """Something was tested and nothing is out of band."""
    tested = ["or", *(["not", ["missing", b.parameter]] for b in bands)]
    good = [
        ["or", ["missing", b.parameter], ["=", f"{b.parameter}:word", ["word", "in_band"]]] for b in bands
    ]
    return ["if", ["and", tested, *good], ["say", "all_well", {}], None]


def _outputs(sheet: TankSheet, bands: list[BandSpec]) -> dict[str, Any]:
    missing = [["if", ["missing", p], ["word", p], None] for p in sheet.tests]
    surprises = [f"{b.parameter}:surprise" for b in bands]
    waits = ["or", *(["missing", p] for p in sheet.tests)] if sheet.tests else False
    outputs: dict[str, Any] = {f"verdict:{b.parameter}": verdict_of(sheet, b) for b in bands}
    outputs["urgent"] = ["list", *emergency_lines(sheet)]
    outputs["waits_for"] = ["list", *missing]
    outputs["test_again"] = ["list", *(["if", s, ["word", s.split(":")[0]], None] for s in surprises)]
    if sheet.state in FORBIDDING:
        outputs["advice"] = ["list", ["say", "state_forbids", {"state": ["word", STATE_WORDS[sheet.state]]}]]
        return outputs
    first = ["if", waits, ["list", ["say", "waits", {}]], ["list", *_advice(sheet, bands)]]
    if surprises:
        first = ["if", ["or", *surprises], ["list", ["say", "again", {}]], first]
    outputs["advice"] = first
    return outputs


class _BySaying:
    """A sheet that is told apart by what it says, so that the same sheet is compiled once."""

    def __init__(self, sheet: TankSheet) -> None:
        self.sheet, self.said = sheet, repr(sheet)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _BySaying) and self.said == other.said

    def __hash__(self) -> int:
        return hash(self.said)


@lru_cache(maxsize=256)
def _compiled(saying: _BySaying) -> Checked:
    sheet = saying.sheet
    bands = [_band(sheet, key) for key in sheet.parameters()]
    steps: list[list[Any]] = []
    for band in bands:
        steps += [[name, expression] for name, expression in word_steps(band)]
        steps.append(list(surprise_step(sheet, band.parameter)))
    steps += [list(step) for step in toxic_steps(sheet)]
    program: dict[str, Any] = {
        "version": VERSION,
        "inputs": [name for band in bands for name in inputs_of(band.parameter)],
        "steps": steps,
        "outputs": _outputs(sheet, bands),
    }
    check(program)
    return Checked(program)


def compile_sheet(sheet: TankSheet) -> Checked:
    """The program of one tank on one day: plain JSON, checked. A sheet that says the same gets the same program
    (kept for the last 256 sheets), so nobody may alter what is returned."""
    return _compiled(_BySaying(sheet))
