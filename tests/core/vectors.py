"""Makes the shared vectors of the rule program: `python -m tests.core.vectors` writes fixtures/program/vectors.json.

For every water type a tank's compiled program, with values at, just beside and far from every band edge and limit,
and seeded random rounds of tests. Each vector is inputs and the outputs that both evaluators must give."""

import json
import random
from pathlib import Path
from typing import Any

from servicedesk.core.advice import BandSpec, Product, TankSheet, compile_sheet
from servicedesk.core.program import evaluate
from servicedesk.core.tables import read_csv
from servicedesk.core.tracking.history import Expected

FILE = Path(__file__).resolve().parents[2] / "fixtures" / "program" / "vectors.json"
SEED = 20261125
NAMES = ("low", "target", "high", "alarm_low", "alarm_high", "max_rise_per_day", "max_fall_per_day")
UNITS = {"reef_mixed": {"alkalinity": "meq/L", "temperature": "F"}, "planted": {"nitrate": "mg/L NO3-N"}}


def sheet_of(water_type: str, *, state: str = "normal") -> TankSheet:
    rows = [r for r in read_csv("bands.csv") if r["water_type"] == water_type]
    shown = UNITS.get(water_type, {})
    bands = tuple(
        BandSpec(
            r["parameter"],
            shown.get(r["parameter"], r["unit"]),
            **{n: float(r[n]) if r[n] else None for n in NAMES},
        )
        for r in rows
    )
    marine = water_type.startswith("reef")
    middle = {b.parameter: b.goal for b in bands if b.goal is not None}
    return TankSheet(
        water_type=water_type,
        net_l=437.0,
        net_l_u=13.0,
        state=state,
        bands=bands,
        tests=tuple(b.parameter for b in bands[:7]),
        expected={p: Expected(v * 0.85, v * 1.1, v) for p, v in middle.items() if p in ("alkalinity", "ph", "nitrate") and v},
        products=(Product("k1", "carbonate solution", "alkalinity", 1.06), Product("k2", "calcium solution", "calcium", 38.0)) if marine else (),
        fresh_mix={"salinity": 35.0, "alkalinity": 8.0, "calcium": 420.0, "nitrate": 0.0} if marine else {"nitrate": 0.0},
        trust={"alkalinity": "not_to_act_on"} if water_type == "reef_soft" else {},
        sensitive=("copper",),
    )  # fmt: skip


def edges(sheet: TankSheet) -> list[dict[str, float | None]]:
    """Values at and beside every edge, one parameter at a time among otherwise good values."""
    good = {b.parameter: b.goal for b in sheet.bands if b.goal is not None}
    found = []
    for band in sheet.bands:
        marks = [m for m in (band.low, band.high, band.alarm_low, band.alarm_high) if m is not None]
        for mark in marks:
            for step in (-0.06, -0.011, -0.004, 0.0, 0.004, 0.011, 0.06):
                value = mark + step * max(1.0, abs(mark))
                found.append({**good, band.parameter: value, f"{band.parameter}:n": 2.0})
    return found


def rounds(sheet: TankSheet, rng: random.Random, count: int) -> list[dict[str, float | None]]:
    """Random rounds of tests, some of them incomplete."""
    found = []
    for _number in range(count):
        values: dict[str, float | None] = {}
        for band in sheet.bands:
            if rng.random() < 0.12:
                continue
            middle = band.goal or 1.0
            values[band.parameter] = max(0.0, middle * rng.uniform(0.5, 1.6))
            values[f"{band.parameter}:n"] = float(rng.choice([1, 2, 3]))
            values[f"{band.parameter}:doubt"] = rng.choice([None, 1.0])
        found.append(values)
    return found


def make() -> dict[str, Any]:
    rng = random.Random(SEED)
    kinds = sorted({r["water_type"] for r in read_csv("bands.csv")})
    sheets = [(kind, sheet_of(kind)) for kind in kinds] + [
        ("in treatment", sheet_of("reef_stony", state="treatment"))
    ]
    programs = []
    for name, sheet in sheets:
        program = compile_sheet(sheet)
        cases = [*edges(sheet), *rounds(sheet, rng, 60)]
        programs.append(
            {"name": name, "program": program, "cases": [[c, evaluate(program, c)] for c in cases]}
        )
    return {"seed": SEED, "programs": programs}


if __name__ == "__main__":
    FILE.parent.mkdir(parents=True, exist_ok=True)
    FILE.write_text(json.dumps(make(), separators=(",", ":"), ensure_ascii=False), encoding="utf-8")
