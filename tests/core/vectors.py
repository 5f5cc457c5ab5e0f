"""Makes the shared vectors of the rule program: `python -m tests.core.vectors` writes fixtures/program/vectors.json.

For every water type a tank's compiled program, with values at, just beside and far from every band edge and limit,
and seeded random rounds of tests; and a program of its own for every operation. Each vector is inputs and the outputs
that both evaluators must give. The file is compact: per program a pool of distinct outputs, and per case the inputs in
the program's order and places in the pool."""

import json
import random
from dataclasses import replace
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
        products=(Product("k1", "carbonate solution", "alkalinity", 1.06, salt="Na2CO3", channel="c1", running_ml=12.5, pump_step_ml=0.5, most_ml=400.0), Product("k2", "calcium solution", "calcium", 38.0, channel="c2")) if marine else (),
        fresh_mix={"salinity": 35.0, "alkalinity": 8.0, "calcium": 420.0, "nitrate": 0.0} if marine else ({} if water_type == "pond" else {"nitrate": 5.0}),
        trust={"alkalinity": "not_to_act_on"} if water_type == "reef_soft" else {},
        sensitive=("copper",),
        test_u={"alkalinity": 0.2, "calcium": 8.0} if marine else {},
    )  # fmt: skip


def edges(sheet: TankSheet) -> list[dict[str, float | None]]:
    """Values at and beside every edge, one parameter at a time among otherwise good values."""
    good = {b.parameter: b.goal for b in sheet.bands if b.goal is not None}
    found = []
    for band in sheet.bands:
        marks = [m for m in (band.low, band.high, band.alarm_low, band.alarm_high) if m is not None]
        for mark in marks:
            for step in (-0.06, -0.011, -0.004, 0.0, 0.004, 0.011, 0.06):
                value = round(mark + step * max(1.0, abs(mark)), 6)
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
            values[band.parameter] = round(max(0.0, middle * rng.uniform(0.5, 1.6)), 4)
            values[f"{band.parameter}:n"] = float(rng.choice([1, 2, 3]))
            values[f"{band.parameter}:doubt"] = rng.choice([None, 0.0, 1.0])
            values[f"{band.parameter}:apart"] = rng.choice([None, 0.0, 0.0, 0.0, 1.0])
        found.append(values)
    return found


OPERATIONS: dict[str, Any] = {
    **{op: [op, "a", "b"] for op in ("+", "-", "*", "/", "min", "max", "<", "<=", ">", ">=", "=")},
    "sum of three": ["+", "a", "b", 0.1],
    "negative": ["-", "a"],
    "abs": ["abs", "a"],
    "ceil": ["ceil", "a"],
    "sqrt": ["sqrt", "a"],
    "clamp": ["clamp", "a", -1, "b"],
    **{f"round {d}": ["round", "a", d] for d in (0, 1, 2, 9)},
    **{f"fixed {d}": ["fixed", "a", d] for d in (0, 1, 2, 9)},
    "and": ["and", ["<", "a", "b"], [">", "b", 0]],
    "or": ["or", ["<", "a", "b"], [">", "b", 0]],
    "not": ["not", [">", "a", 0]],
    "missing": ["missing", "a"],
    "if": ["if", [">", "a", "b"], "a", ["word", "other"]],
    "if of a number": ["if", "a", 1, 2],
    "table": ["table", "a", [-2, 0, 1.5, 10], [5, 0, 7, 7]],
    "list": ["list", "a", None, "b", ["word", "end"]],
    "say": ["say", "in_band", {"low": ["fixed", "a", 1], "high": "b"}, {"sum": ["+", "a", "b"]}],
    "word with number": ["=", ["word", "1"], 1],
    "truth with number": ["=", True, 1],
    "order of words": ["<", ["word", "a"], ["word", "b"]],
    "sum with a word": ["+", "a", ["word", "b"]],
    "sum with a truth": ["+", "a", True],
    "lists": ["=", ["list", "a"], ["list", "a"]],
    "too large": ["*", "a", 1e308, 1e308],
    "text too large": ["fixed", ["*", "a", 1e15], 0],
}
PLACES = (None, 0.0, -0.0, 0.05, 0.15, 0.25, 0.35, 0.5, 1.005, 1.5, 2.5, -0.5, -1.5, -2.5, 3.0, 9.995, 1e-7, 123456.789, 1e9, -1e9, 5e-324, 1.7e308)  # fmt: skip


def rare() -> list[tuple[str, TankSheet, list[dict[str, float | None]]]]:
    """Tanks that say what the others never say: copper, no band, no solution, water for changes full of nitrate."""
    alkalinity = BandSpec("alkalinity", "dKH", 7.2, 8.0, 9.0, 6.3, 11.0, 2.0)
    calcium = BandSpec("calcium", "mg/L", 390, 430, 460, 350, 500, 20, 40)
    magnesium = BandSpec("magnesium", "mg/L", 1250, 1340, 1420)
    copper = BandSpec("copper", "mg/L", high=0.01, alarm_high=0.05)
    nitrate = BandSpec("nitrate", "mg/L NO3", 1, 5, 12, None, 25, 5, 10)
    low = {
        "alkalinity": 6.9,
        "calcium": 380.0,
        "copper": 0.03,
        "nitrate": 24.0,
        "redox": 300.0,
        "magnesium": 1200.0,
    }
    dosed = TankSheet(
        water_type="marine_fish",
        net_l=600.0,
        bands=(alkalinity, calcium, magnesium, copper, nitrate),
        tests=("alkalinity", "redox"),
        products=(Product("k1", "carbonate solution", "alkalinity", 1.06, 0.0), Product("k2", "calcium solution", "calcium", 38.0), Product("k3", "magnesium solution", "magnesium", 60.0)),
        fresh_mix={"nitrate": 40.0},
        sensitive=("copper",),
    )  # fmt: skip
    caustic = replace(
        dosed,
        products=(Product("k1", "lye", "alkalinity", 50.0, salt="NaOH", channel="c1"),),
    )
    soda = replace(dosed, products=(Product("k1", "soda", "alkalinity", 1.06, salt="NaHCO3"),))
    unsure = replace(dosed, net_l_u=310.0)
    toxic = replace(
        dosed,
        water_type="brackish",
        bands=tuple(
            BandSpec(p, u, high=h)
            for p, u, h in (("ammonia_total", "mg/L N", 0.1), ("ph", "pH", 8.6), ("temperature", "C", 28.0))
        ),
        tests=("ammonia_total",),
        sensitive=(),
    )
    mixed = replace(dosed, products=(), fresh_mix={"alkalinity": 8.0, "calcium": 370.0}, sensitive=())
    salty = replace(mixed, bands=(BandSpec("salinity", "PSS-78", 34, 35, 36, 32.5, 37, 1, 1.5),), tests=("salinity",), fresh_mix={"salinity": 30.0})  # fmt: skip
    acid = replace(mixed, water_type="planted", bands=(BandSpec("ph", "pH", 6.6, 7.2, 7.8), BandSpec("carbonate_hardness", "dKH", 3, 5, 10, 1.5, 16, 2, 2)), tests=("ph",))  # fmt: skip
    good = {"alkalinity": 8.0, "calcium": 430.0, "copper": 0.0, "nitrate": 5.0, "redox": 300.0}
    return [
        ("dosed with old water", dosed, [low, good, {**low, "redox": None}, {**low, "alkalinity": 8.0}]),
        ("caustic", caustic, [low, good, {**low, "alkalinity": 2.0}]),
        ("bicarbonate", soda, [low, good]),
        ("volume unsure", unsure, [low, good]),
        ("toxic ammonia", toxic, [{"ammonia_total": a, "ph": ph, "temperature": t} for a in (0.0, 0.05, 0.099, 0.5, 3.0) for ph in (None, 5.5, 7.0, 8.0, 8.3, 9.2) for t in (None, 4.0, 25.0, 31.0)]),
        ("nothing to dose", mixed, [low, good, {**low, "nitrate": 0.0}, {**low, "alkalinity:doubt": 1.0}]),
        ("thin mix", salty, [{"salinity": 33.0}, {"salinity": 27.0}, {"salinity": 36.6}, {"salinity": 35.0}]),
        ("acid", acid, [{"ph": ph, "carbonate_hardness": kh} for ph in (6.0, 6.6, 7.0) for kh in (1.0, 2.0, 5.0)]),
    ]  # fmt: skip


def operations() -> tuple[dict[str, Any], list[dict[str, float | None]]]:
    """One program that does every operation, and pairs of awkward numbers."""
    outputs = dict(OPERATIONS)
    program = {"version": 1, "inputs": ["a", "b"], "steps": [], "outputs": outputs}
    return program, [{"a": a, "b": b} for a in PLACES for b in PLACES]


def packed(name: str, program: dict[str, Any], cases: list[dict[str, float | None]]) -> dict[str, Any]:
    pool: dict[str, int] = {}
    rows = []
    for case in cases:
        found = evaluate(program, case)
        texts = [json.dumps(found[out], ensure_ascii=False) for out in program["outputs"]]
        rows.append(
            [[case.get(n) for n in program["inputs"]], [pool.setdefault(text, len(pool)) for text in texts]]
        )
    return {"name": name, "program": program, "pool": [json.loads(text) for text in pool], "cases": rows}


def unpacked(kept: dict[str, Any]) -> list[dict[str, Any]]:
    """The programs of the file with whole cases: inputs by name, outputs by name."""
    programs = []
    for entry in kept["programs"]:
        inputs, outputs = entry["program"]["inputs"], entry["program"]["outputs"]
        cases = [
            [
                dict(zip(inputs, values, strict=True)),
                dict(zip(outputs, (entry["pool"][at] for at in places), strict=True)),
            ]
            for values, places in entry["cases"]
        ]
        programs.append({"name": entry["name"], "program": entry["program"], "cases": cases})
    return programs


def make() -> dict[str, Any]:
    rng = random.Random(SEED)
    kinds = sorted({r["water_type"] for r in read_csv("bands.csv")})
    sheets = [(kind, sheet_of(kind)) for kind in kinds]
    sheets.append(("in treatment", sheet_of("reef_stony", state="treatment")))
    sheets.append(("a small tank", replace(sheet_of("reef_mixed"), net_l=38.0, net_l_u=2.0)))
    programs = [packed("every operation", *operations())]
    for name, sheet in sheets:
        cases = [*edges(sheet), *rounds(sheet, rng, 150)]
        programs.append(packed(name, compile_sheet(sheet), cases))
    programs += [packed(name, compile_sheet(sheet), cases) for name, sheet, cases in rare()]
    return {"seed": SEED, "programs": programs}


if __name__ == "__main__":
    FILE.parent.mkdir(parents=True, exist_ok=True)
    FILE.write_text(json.dumps(make(), separators=(",", ":"), ensure_ascii=False), encoding="utf-8")
