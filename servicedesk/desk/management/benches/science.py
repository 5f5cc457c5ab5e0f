"""How long the numbers take: the advice of one visit with twelve parameters, of a thousand tanks, what the core adds to the start
of a process, and the first advice after it. Needs no data: the tanks are drawn from the seed.

The baseline is a loop of a million additions in the same run, so that two machines can be compared."""

import random
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from django.conf import settings

from servicedesk.core.advice import BandSpec, Product, TankSheet, compile_sheet, judge
from servicedesk.core.advice import compile as compiling
from servicedesk.core.tables import read_csv
from servicedesk.core.worksheets import answer
from servicedesk.core.worksheets.book import WORKSHEETS
from servicedesk.desk.management.benches import Options

MOST_VISIT_MS, MOST_TANKS_S, MOST_IMPORT_S, MOST_FIRST_S = 20.0, 15.0, 0.3, 1.0
PARAMETERS, TANKS, VISITS, STARTS = 12, 1000, 60, 5
EDGES = ("low", "target", "high", "alarm_low", "alarm_high", "max_rise_per_day", "max_fall_per_day")
BARE = "import time; b = time.perf_counter(); import csv, dataclasses, json, math, re, statistics, typing; print(time.perf_counter() - b)"
CORE = "import time, csv, dataclasses, json, math, re, statistics, typing; b = time.perf_counter(); import servicedesk.core.advice, servicedesk.core.worksheets.book; print(time.perf_counter() - b)"
FIRST = """import time; b = time.perf_counter()
from servicedesk.core.advice import BandSpec, TankSheet, compile_sheet, judge
from servicedesk.core.chemistry.salinity import practical_from_conductivity
sheet = TankSheet(water_type="reef_stony", net_l=400.0, bands=(BandSpec("alkalinity", "dKH", 7.2, 8.0, 9.0, 6.3, 11.0, 0.5, 0.8),))
judge(compile_sheet(sheet), {"alkalinity": 6.9}), practical_from_conductivity(conductivity_ms_cm=53.0, temperature_c=25.0)
print(time.perf_counter() - b)"""
RAISE = {"value": "6.8", "goal": "8", "step": "0.5", "net_l": "400", "net_l_u": "20", "strength": "20"}


def tank(drawn: random.Random) -> tuple[TankSheet, dict[str, float | None]]:
    """A stony reef of its own volume with twelve parameters, and a round of tests of all of them."""
    rows = [row for row in read_csv("bands.csv") if row["water_type"] == "reef_stony"]
    bands = [
        BandSpec(row["parameter"], row["unit"], **{e: float(row[e]) if row[e] else None for e in EDGES})
        for row in rows
    ]
    if not any(band.parameter == "potassium" for band in bands):
        bands.append(BandSpec("potassium", "mg/L", 370, 395, 420, 320, 480, 20, 20))
    bands = bands[:PARAMETERS]
    solutions = (Product("a", "one", "alkalinity", 3.0), Product("c", "two", "calcium", 40.0))
    sheet = TankSheet(
        water_type="reef_stony",
        net_l=drawn.uniform(60, 3000),
        net_l_u=drawn.uniform(1, 3),
        bands=tuple(bands),
        products=solutions,
        fresh_mix={"salinity": 35.0, "alkalinity": 8.0, "calcium": 420.0, "nitrate": 0.0},
    )
    values: dict[str, float | None] = {}
    for band in bands:
        values[band.parameter] = (band.goal or 1.0) * drawn.uniform(0.85, 1.15)
        values[f"{band.parameter}:n"] = 2.0
    return sheet, values


def _timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def _in_a_process(program: str) -> float:
    """Median of what a fresh process says of itself, in s."""
    command = [sys.executable, "-c", program]
    said = [
        subprocess.run(command, cwd=settings.ROOT, capture_output=True, text=True, check=True).stdout
        for _start in range(STARTS)
    ]
    return statistics.median(float(text) for text in said)


def _advised(drawn: random.Random) -> None:
    sheet, values = tank(drawn)
    judge(compile_sheet(sheet), values)


def run(options: Options) -> dict[str, Any]:
    """Seconds and ms, with the bars that were not reached."""
    drawn = random.Random(options.seed)
    loop = min(_timed(lambda: sum(range(1_000_000))) for _ in range(5))
    compiling._compiled.cache_clear()
    visits = [_timed(lambda: _advised(drawn)) for _ in range(options.repeat or VISITS)]
    tanks = sum(_timed(lambda: _advised(drawn)) for _ in range(TANKS))
    answer(WORKSHEETS["raise"], RAISE)
    sheets = [_timed(lambda: answer(WORKSHEETS["raise"], RAISE)) for _ in range(VISITS)]
    growth, first = _in_a_process(CORE), _in_a_process(FIRST)
    p95 = 1000 * statistics.quantiles(visits, n=20)[-1]
    metrics = {
        "advice for one visit, 12 parameters, p95 ms": round(p95, 1),
        "advice for 1000 tanks, s": round(tanks, 2),
        "worksheet “raise”, p95 ms": round(1000 * statistics.quantiles(sheets, n=20)[-1], 2),
        "import of the core, s": round(growth, 3),
        "first advice of a process, s": round(first, 3),
    }
    bars = (
        (p95 <= MOST_VISIT_MS, f"The advice of a visit takes {p95:.0f} ms."),
        (tanks <= MOST_TANKS_S, f"A thousand tanks take {tanks:.1f} s."),
        (growth < MOST_IMPORT_S, f"The core adds {growth:.2f} s to the start of a process."),
        (first < MOST_FIRST_S, f"The first advice comes after {first:.2f} s."),
    )
    return {
        "baseline": {
            "a million additions, ms": round(1000 * loop, 1),
            "imports of the library alone, s": round(_in_a_process(BARE), 3),
        },
        "metrics": metrics,
        "failed": [sentence for held, sentence in bars if not held],
    }
