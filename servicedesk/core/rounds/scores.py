"""What a solution of a published instance is worth by the instance's own convention, for benches."""

from __future__ import annotations

import csv
import io
import math

from servicedesk.core.rounds.formats import PERIODIC_COST, Instance
from servicedesk.core.rounds.plan import REFILL, Orders
from servicedesk.core.rounds.rules import judge


def score(instance: Instance, text: str, orders: Orders) -> float | None:
    """Cost in the instance's own unit; None where the orders break a rule or leave anybody out. Periodic instances are reckoned
    anew in double precision from the text."""
    plan, faults = judge(instance.problem, orders)
    if faults:
        return None
    if instance.unit != PERIODIC_COST:
        return plan.cost / instance.unit
    numbers = [[float(word) for word in line.split()] for line in text.splitlines() if line.strip()]
    points = [(row[1], row[2]) for row in numbers[1 + instance.days :]]
    total = 0.0
    for order in orders.values():
        places = [0, *(instance.problem.visit[name].place for name in order if name != REFILL), 0]
        total += sum(math.dist(points[a], points[b]) for a, b in zip(places, places[1:], strict=False))
    return total


def best_known(table: str) -> dict[str, float]:
    """Best-known values by instance, from a table with the columns set, instance, convention and bks. Conventions that count
    vehicles first are left out."""
    found = {}
    for row in csv.DictReader(io.StringIO(table)):
        if row.get("convention") in ("dimacs", "float"):
            found[row["instance"]] = float(row["bks"])
    return found


def gap(cost: float | None, best: float | None) -> float | None:
    """Percent above the best known; None where either is not known."""
    return None if cost is None or not best else 100 * (cost / best - 1)
