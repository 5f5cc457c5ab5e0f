"""Published routing instances as problems of ours, and plans as solution files.

Solomon 1987 (Operations Research 35:254-265) and Gehring & Homberger 1999 share one text format; the periodic one is that of
Cordeau, Gendreau & Laporte 1997 (Networks 30:105-119). Conventions: windows problems count the distance times ten, truncated
(the convention of exact methods, also the time); periodic ones the double-precision distance, here times a thousand, rounded."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.plan import REFILL, Orders
from servicedesk.core.rounds.problem import DAY_S, NotPlanned, Problem, Shift, Tie, Travel, Visit, Window

TENTHS = 10
PERIODIC_COST, PERIODIC_TIME = 1000, 100


@dataclass(frozen=True)
class Instance:
    """A published problem: `unit` of our cost makes one of its own; `vehicles` a day, `days` in the horizon."""

    name: str
    problem: Problem
    unit: int
    days: int
    vehicles: int


def _numbers(line: str) -> list[float]:
    try:
        return [float(word) for word in line.split()]
    except ValueError:
        return []


def _distances(points: list[tuple[float, float]]) -> Any:
    xy = np.asarray(points, dtype=float)
    return np.sqrt(((xy[:, None] - xy[None]) ** 2).sum(axis=2))


def read_solomon(name: str, text: str) -> Instance:
    """A problem with time windows on one day. Raises NotPlanned where the text is none."""
    rows = [row for row in map(_numbers, text.splitlines()) if row]
    fleet = next((row for row in rows if len(row) == 2), None)
    nodes = [row for row in rows if len(row) == 7]
    if fleet is None or len(nodes) < 1:
        raise NotPlanned(
            f"{name} is not in Solomon's format: a line of two numbers and lines of seven are needed."
        )
    square = np.trunc(_distances([(row[1] * TENTHS, row[2] * TENTHS) for row in nodes])).astype(np.int64)
    visits = tuple(
        Visit(str(int(row[0])), n, int(row[6] * TENTHS), (Window(0, int(row[4] * TENTHS), int(row[5] * TENTHS)),), loads=(int(row[3]),))
        for n, row in enumerate(nodes)
        if n
    )  # fmt: skip
    many, room = int(fleet[0]), int(fleet[1])
    opens, closes = int(nodes[0][4] * TENTHS), int(nodes[0][5] * TENTHS)
    shifts = tuple(Shift(f"vehicle {n + 1}", 0, 0, 0, opens, closes, van=(room,)) for n in range(many))
    return Instance(name, Problem(Travel(square), visits, shifts), TENTHS, 1, many)


def _combinations(code: int, days: int) -> tuple[int, ...]:
    """Days of a visit combination: day 1 is the most significant bit."""
    return tuple(day for day in range(days) if code >> (days - 1 - day) & 1)


def read_periodic(name: str, text: str) -> Instance:
    """A periodic problem: frequency and allowed combinations of days. A node that lies on the depot, wants nothing and takes no
    time is left out; one without a frequency is visited once. Raises NotPlanned."""
    rows = [row for row in map(_numbers, text.splitlines()) if row]
    if not rows or len(rows[0]) != 4 or rows[0][0] != 1 or len(rows) < 2 + int(rows[0][3]):
        raise NotPlanned(f"{name} is not in Cordeau's periodic format: its first line reads “1 m n t”.")
    _kind, vehicles, _many, days = (int(value) for value in rows[0])
    limits, nodes = rows[1 : 1 + days], rows[1 + days :]
    metres = _distances([(row[1], row[2]) for row in nodes])
    timed = any(limit[0] for limit in limits)
    seconds = np.ceil(metres * PERIODIC_TIME if timed else metres * 0).astype(np.int64)
    cost = np.rint(metres * PERIODIC_COST).astype(np.int64)
    visits: list[Visit] = []
    ties = []
    for place, row in enumerate(nodes):
        if not place or (not row[3] and not row[4] and metres[0, place] == 0):
            continue
        times = int(row[5]) or 1
        codes = [int(code) for code in row[7 : 7 + int(row[6])]]
        patterns = tuple(_combinations(code, days) for code in codes if code) or tuple(
            (d,) for d in range(days)
        )
        made = _visits(row, place, times, patterns, timed)
        visits += made
        if times > 1:
            ties.append(Tie(tuple(visit.id for visit in made), patterns))
    shifts = tuple(
        Shift(
            f"vehicle {n + 1}", day, 0, 0, 0, DAY_S - 1, van=(int(limits[day][1]),),
            paid=int(limits[day][0] * PERIODIC_TIME) if limits[day][0] else None,
        )
        for day in range(days)
        for n in range(vehicles)
    )  # fmt: skip
    problem = Problem(Travel(seconds, cost), tuple(visits), shifts, tuple(ties))
    return Instance(name, problem, PERIODIC_COST, days, vehicles)


def _visits(
    row: list[float], place: int, times: int, patterns: tuple[tuple[int, ...], ...], timed: bool
) -> list[Visit]:
    """The visits of one customer, each with the days on which it may come."""
    made = []
    for number in range(times):
        days = sorted({pattern[number] for pattern in patterns if number < len(pattern)})
        windows = tuple(Window(day, 0, DAY_S - 1) for day in days)
        name = str(int(row[0])) if times == 1 else f"{int(row[0])}/{number + 1}"
        seconds = int(row[3] * PERIODIC_TIME) if timed else 0
        made.append(Visit(name, place, seconds, windows, loads=(int(row[4]),)))
    return made


def days_of(problem: Problem, orders: Orders, days: int) -> list[list[list[str]]]:
    """Orders as days, vehicles and visits: rounds that are driven, in the order of the shifts."""
    found: list[list[list[str]]] = [[] for _day in range(days)]
    for shift in problem.shifts:
        order = [name for name in orders.get(shift.key, ()) if name != REFILL]
        if order:
            found[shift.day].append(order)
    return found


def solution_text(instance: Instance, orders: Orders) -> str:
    """A solution file: {"days": [[[3, 7], [12]], …]} with the instance's customer numbers."""
    days = days_of(instance.problem, orders, instance.days)
    numbers = [[[int(name.split("/")[0]) for name in order] for order in day] for day in days]
    return json.dumps({"days": numbers}) + "\n"


def week_text(problem: Problem, orders: Orders) -> str:
    """A week's solution: {"rounds": {"technician/day": [visits …]}}."""
    rounds = {
        f"{key[0]}/{key[1]}": list(orders[key]) for key in (s.key for s in problem.shifts) if orders.get(key)
    }
    return json.dumps({"rounds": rounds}) + "\n"


def read_week(text: str) -> dict[tuple[str, int], tuple[str, ...]]:
    """A week's orders out of its solution file. Raises NotPlanned."""
    try:
        rounds = json.loads(text)["rounds"]
        return {
            (key.rpartition("/")[0], int(key.rpartition("/")[2])): tuple(map(str, order))
            for key, order in rounds.items()
        }
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise NotPlanned("This is no solution of a week.") from error
