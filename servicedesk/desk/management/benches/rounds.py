"""How near the planner of rounds comes to the best known: published instances (Solomon, Gehring & Homberger, Cordeau's periodic
ones) and the project's own invented weeks, each solved by the product's planner, beside the plain default of the library under it.

    bench rounds --set solomon|homberger|pvrp|weeks|master --instances DIR [--only A,B] --seconds S --seeds 1,2,3 [--out DIR] [--json]

Both columns (after ten seconds and at the end) come from one run. The search on arrays is compiled before the clock starts. With
--out each solution is written as INSTANCE-SEED.json and what was measured beside it in runs/; what is there is not run again. --keep replaces a week's best known solution in
fixtures/routing where a better one is found."""

import json
import os
import re
import resource
import statistics
import time
from argparse import ArgumentParser
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from servicedesk.core.rounds import formats, scores, weeks
from servicedesk.core.rounds.compiled.compiling import ENGINE
from servicedesk.core.rounds.keeping import Budget, Progress
from servicedesk.core.rounds.plain import plain_default
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import Problem
from servicedesk.core.rounds.rules import judge
from servicedesk.desk.management.benches import Options, masters

SETS = ("solomon", "homberger", "pvrp", "weeks", "master")
EARLY_S = 10.0
WEEKS = Path(settings.ROOT) / "fixtures" / "routing" / "weeks"
BARS = {
    "Solomon, 100 customers": (0.3, 0.1),
    "Gehring & Homberger, 1000 customers": (4.5, 2.0),
    "periodic, one visit a site": (0.8, 0.3),
    "periodic, tied patterns": (2.5, 1.0),
    "week of 80 visits": (2.0, 1.0),
    "week of 300 visits": (4.0, 2.0),
    "week of 900 visits": (None, 9.0),
    "week of 900 visits, warm": (8.0, 6.0),
}
"""Percent above the best known after 10 s and after 60 s, on two cores, mean of the seeds."""


@dataclass(frozen=True)
class Case:
    """An instance, the row of the table it stands in, how its orders are scored and written."""

    name: str
    row: str
    problem: Problem
    best: float | None
    score: Callable[[Orders], float | None]
    write: Callable[[Orders], str]
    start: Orders | None = None


@dataclass(frozen=True)
class Run:
    """What was measured: scores early and at the end, the same of the plain default, seconds until the first whole plan; the load of the
    machine before, the most memory of this process since it began."""

    name: str
    row: str
    seed: int
    seconds: float
    early: float | None
    end: float | None
    plain_early: float | None
    plain_end: float | None
    first_s: float | None
    load: float
    memory_mb: float = 0.0


def add_arguments(parser: ArgumentParser) -> None:
    """What this bench is asked beyond what all are."""
    group = parser.add_argument_group("rounds")
    group.add_argument("--set", choices=SETS, default="weeks", dest="set_")
    group.add_argument("--instances", type=Path, help="folder with the instances (weeks: with solutions)")
    group.add_argument("--only", default="", help="names, with commas between")
    group.add_argument("--seconds", type=float, default=60.0)
    group.add_argument("--seeds", default="1,2,3")
    group.add_argument("--out", type=Path, help="folder for solutions")
    group.add_argument("--threads", type=int, default=2)
    group.add_argument("--no-plain", action="store_true", help="without the plain default beside it")
    group.add_argument("--keep", action="store_true", help="replace best known weeks by better ones")


def run(options: Options) -> dict[str, Any]:
    """Percent above the best known, by instance and by row of the table."""
    asked = dict(options.more)
    if asked["set_"] == "master":
        return masters.run(options)
    seeds = [int(seed) for seed in str(asked["seeds"]).split(",")]
    runs = []
    for case in cases(asked):
        for seed in seeds:
            found = _known(case, seed, asked) or _measure(case, seed, asked)
            runs.append((case, found))
            options.say(_line(case, found))
    metrics, failed = _table(runs, float(asked["seconds"]))
    return {"baseline": _plain_table(runs), "metrics": metrics, "failed": failed}


def cases(asked: dict[str, Any]) -> Iterator[Case]:
    """The instances asked for, by name."""
    only = [name for name in str(asked["only"]).split(",") if name]
    if asked["set_"] == "weeks":
        folder = asked["instances"] or WEEKS
        for name in only or sorted(path.stem for path in folder.glob("week-*.json")):
            yield _week(name, folder)
        return
    folder = asked["instances"] or WEEKS.parent
    known = _best_known(folder)
    for path in sorted(folder.rglob("*.txt")):
        if (not only or path.stem in only) and _set_of(path.stem) == asked["set_"]:
            yield _published(path, known)


def _set_of(name: str) -> str:
    if re.fullmatch(r"pr?\d+", name):
        return "pvrp"
    return "homberger" if "_" in name else "solomon"


def _best_known(folder: Path) -> dict[str, float]:
    """From a table bks.csv in the folder or above it, and solution files beside the instances."""
    known: dict[str, float] = {}
    for place in (folder, *folder.resolve().parents[:2]):
        if (place / "bks.csv").exists():
            known = scores.best_known((place / "bks.csv").read_text(encoding="utf-8")) | known
    return known


def _published(path: Path, known: dict[str, float]) -> Case:
    text = path.read_text(encoding="utf-8", errors="replace")
    periodic = _set_of(path.stem) == "pvrp"
    instance = (formats.read_periodic if periodic else formats.read_solomon)(path.stem, text)
    if periodic:
        row = "periodic, tied patterns" if instance.problem.ties else "periodic, one visit a site"
    else:
        family = "Gehring & Homberger" if "_" in path.stem else "Solomon"
        row = f"{family}, {len(instance.problem.visits)} customers"
    return Case(
        path.stem, row, instance.problem, known.get(path.stem), lambda orders: scores.score(instance, text, orders),
        lambda orders: formats.solution_text(instance, orders),
    )  # fmt: skip


def _week(name: str, folder: Path) -> Case:
    problem = weeks.named_week(name)
    path = folder / f"{name}.json"

    def score(orders: Orders) -> float | None:
        plan, faults = judge(problem, orders)
        return None if faults else plan.driving / 3600

    best = score(formats.read_week(path.read_text(encoding="utf-8"))) if path.exists() else None
    before = folder / f"{weeks.week_before(name)}.json"
    start = None
    if weeks.week_before(name) and before.exists():
        start = formats.read_week(before.read_text(encoding="utf-8"))
    many = len(problem.visits)
    row = f"week of {many} visits{', warm' if start is not None else ''}"
    return Case(name, row, problem, best, score, lambda orders: formats.week_text(problem, orders), start)


def _known(case: Case, seed: int, asked: dict[str, Any]) -> Run | None:
    """What an earlier run of the same length measured."""
    if asked["out"] is None:
        return None
    path = asked["out"] / "runs" / f"{case.name}-{seed}.json"
    if not path.exists() or not (asked["out"] / f"{case.name}-{seed}.json").exists():
        return None
    known = Run(**json.loads(path.read_text(encoding="utf-8")))
    return known if known.seconds == asked["seconds"] else None


def _measure(case: Case, seed: int, asked: dict[str, Any]) -> Run:
    """One run of the planner, and one of the plain default."""
    steps: list[Progress] = []
    ENGINE.wanted().wait()
    load, budget = os.getloadavg()[0], Budget(seconds=asked["seconds"], seed=seed, threads=asked["threads"])
    outcome = plan_rounds(case.problem, budget, start=case.start, progress=steps.append)
    whole = [step for step in steps if step.missing == 0]
    early = [step for step in whole if step.seconds <= EARLY_S]
    orders = outcome.plan.orders
    plain: tuple[float | None, float | None] = (None, None)
    if not asked["no_plain"]:
        plain = _plain(case, seed, asked["seconds"])
    first = whole[0].seconds if whole else None
    at_ten = case.score(early[-1].orders()) if early else None
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    end = case.score(orders)
    found = Run(case.name, case.row, seed, asked["seconds"], at_ten, end, *plain, first, load, memory)
    if asked["out"] is not None:
        _write(case, found, orders, asked["out"])
    if asked["keep"]:
        _keep(case, orders, asked["instances"] or WEEKS)
    return found


def _plain(case: Case, seed: int, seconds: float) -> tuple[float | None, float | None]:
    """Scores of the library's own defaults after ten seconds and at the end; None where it cannot be asked or finds nothing."""
    steps: list[tuple[float, Orders]] = []
    began = time.perf_counter()
    plain_default(
        case.problem, seconds, seed, lambda orders: steps.append((time.perf_counter() - began, orders))
    )
    early = [orders for at, orders in steps if at <= EARLY_S]
    return (
        case.score(early[-1]) if early else None,
        case.score(steps[-1][1]) if steps else None,
    )


def _write(case: Case, found: Run, orders: Orders, out: Path) -> None:
    (out / "runs").mkdir(parents=True, exist_ok=True)
    (out / f"{case.name}-{found.seed}.json").write_text(case.write(orders), encoding="utf-8")
    path = out / "runs" / f"{case.name}-{found.seed}.json"
    path.write_text(json.dumps(asdict(found)) + "\n", encoding="utf-8")


def _keep(case: Case, orders: Orders, folder: Path) -> None:
    """A better solution of a week takes the place of the best known."""
    cost = case.score(orders)
    path = folder / f"{case.name}.json"
    if cost is None or not case.name.startswith("week-"):
        return
    old = case.score(formats.read_week(path.read_text(encoding="utf-8"))) if path.exists() else None
    if old is None or cost < old:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(case.write(orders), encoding="utf-8")


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _gaps(case: Case, found: Run) -> list[float | None]:
    measured = (found.early, found.end, found.plain_early, found.plain_end)
    return [scores.gap(value, case.best) for value in measured]


def _line(case: Case, found: Run) -> str:
    early, end, plain_early, plain_end = map(_percent, _gaps(case, found))
    cost = "-" if found.end is None else f"{found.end:.2f}"
    first = "-" if found.first_s is None else f"{found.first_s:.1f} s"
    return (
        f"{found.name:<12} seed {found.seed}: {cost:>12}  10 s {early:>6} %  end {end:>6} %"
        f"  (plain {plain_early:>6} / {plain_end:>6} %)  first whole {first}"
        f"  load {found.load:.1f}  {found.memory_mb:.0f} MB"
    )


def _rows(runs: list[tuple[Case, Run]]) -> dict[str, list[list[float | None]]]:
    rows: dict[str, list[list[float | None]]] = {}
    for case, found in runs:
        rows.setdefault(case.row, []).append(_gaps(case, found))
    return rows


def _mean_worst(values: list[float | None]) -> str:
    numbers = [value for value in values if value is not None]
    if not numbers:
        return "none"
    lost = f", {len(values) - len(numbers)} without" if len(numbers) < len(values) else ""
    return f"mean {statistics.fmean(numbers):.2f} worst {max(numbers):.2f}{lost}"


def _table(runs: list[tuple[Case, Run]], seconds: float) -> tuple[dict[str, Any], list[str]]:
    """For each row both columns, and the bars that were not reached (only where 60 s were given)."""
    metrics: dict[str, Any] = {}
    failed = []
    for row, gaps in _rows(runs).items():
        for column, label in ((0, "10 s"), (1, f"{seconds:g} s")):
            metrics[f"{row}, {label}, %"] = _mean_worst([values[column] for values in gaps])
            numbers = [values[column] for values in gaps]
            bar = BARS.get(row, (None, None))[column]
            if bar is None or seconds < (EARLY_S, 60)[column]:
                continue
            held = [value for value in numbers if value is not None]
            if len(held) < len(numbers) or statistics.fmean(held) > bar:
                failed.append(f"{row} after {label}: {_mean_worst(numbers)}; the bar is {bar:g} %.")
    return metrics, failed


def _plain_table(runs: list[tuple[Case, Run]]) -> dict[str, Any]:
    return {
        f"{row}, plain default, {label}, %": _mean_worst([values[column] for values in gaps])
        for row, gaps in _rows(runs).items()
        for column, label in ((2, "10 s"), (3, "end"))
    }
