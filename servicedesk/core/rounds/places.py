"""Rounds as arrays: the cheapest place of a visit on a day, found quickly, with penalties for what is too much."""

from __future__ import annotations

import math
from collections.abc import Sequence

from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.plan import REFILL, Orders
from servicedesk.core.rounds.problem import Key, Problem
from servicedesk.core.rounds.rules import fits

PENALTY = 3.0
OVER = 6.0
"""How much dearer loads and hours beyond the limit are for a whole plan than for a single place."""

Found = dict[Key, tuple[str, ...]]


class Table:
    """Rounds as arrays, to find the cheapest place of a visit on a day quickly. Loads and hours beyond a round's own cost a
    penalty; windows, lunch and isolation are left to the search."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.costs = problem.travel.arrays[1].astype(float)
        self.seconds = problem.travel.arrays[0]
        self.able = {
            visit.id: np.array([fits(visit, shift) in (None, "day") for shift in problem.shifts])
            for visit in problem.visits
        }
        self.by_day: dict[int, list[int]] = {}
        for number, shift in enumerate(problem.shifts):
            self.by_day.setdefault(shift.day, []).append(number)
        self.rounds: list[list[str]] = [[] for _shift in problem.shifts]
        self.pull = 1.0
        loads = [sum(visit.loads) for visit in problem.visits]
        arcs = np.sort(self.costs, axis=1)[:, 1:6].mean() if len(self.costs) > 6 else self.costs.mean()
        self.per_unit = PENALTY * float(arcs) / max(1.0, sum(loads) / max(1, len(loads)))

    def take(self, orders: Orders) -> None:
        self.rounds = [[n for n in orders.get(s.key, ()) if n != REFILL] for s in self.problem.shifts]

    def orders(self) -> Found:
        return {
            s.key: tuple(order) for s, order in zip(self.problem.shifts, self.rounds, strict=True) if order
        }

    def remove(self, names: Sequence[str]) -> None:
        gone = set(names)
        self.rounds = [[n for n in order if n not in gone] for order in self.rounds]

    def places(self, number: int) -> list[int]:
        shift = self.problem.shifts[number]
        return [shift.start, *(self.problem.visit[name].place for name in self.rounds[number]), shift.end]

    def _room(self, number: int, name: str) -> float:
        """What the loads and hours that are too much with this visit cost."""
        shift, visit = self.problem.shifts[number], self.problem.visit
        inside = self.rounds[number]
        over = 0.0
        for dimension, room in enumerate(shift.van):
            load = sum(visit[n].loads[dimension] for n in (*inside, name) if dimension < len(visit[n].loads))
            over += max(0, load - room) * self.per_unit * self.pull
        if shift.paid is not None:
            places = self.places(number)
            hours = sum(visit[n].seconds for n in (*inside, name))
            hours += int(self.seconds[places[:-1], places[1:]].sum()) if inside else 0
            over += PENALTY * self.pull * max(0, hours - shift.paid - shift.overtime)
        return over

    def cheapest(self, name: str, day: int) -> tuple[float, int, int]:
        """Cost, round and position of the cheapest place for a visit on a day."""
        here, best = self.problem.visit[name].place, (math.inf, -1, -1)
        able, empty = self.able[name], set()
        for number in self.by_day.get(day, ()):
            shift = self.problem.shifts[number]
            if not able[number]:
                continue
            if not self.rounds[number]:
                kind = (shift.start, shift.end, shift.skills, shift.van, shift.paid)
                if kind in empty:
                    continue
                empty.add(kind)
            places = self.places(number)
            before, after = places[:-1], places[1:]
            way = self.costs[before, here] + self.costs[here, after] - self.costs[before, after]
            position = int(way.argmin())
            whole = float(way[position]) + self._room(number, name)
            if whole < best[0]:
                best = (whole, number, position)
        return best

    def way(self, key: Key, order: Sequence[str]) -> float:
        """What a round's way costs, and loads and hours beyond the limit."""
        shift, visit = self.problem.shift[key], self.problem.visit
        places = [shift.start, *(visit[name].place for name in order), shift.end]
        over = 0.0
        for dimension, room in enumerate(shift.van):
            load = sum(visit[n].loads[dimension] for n in order if dimension < len(visit[n].loads))
            over += max(0, load - room) * self.per_unit
        hours = sum(visit[n].seconds for n in order) + int(self.seconds[places[:-1], places[1:]].sum())
        over += 0 if shift.paid is None else PENALTY * max(0, hours - shift.paid - shift.overtime)
        return float(self.costs[places[:-1], places[1:]].sum()) + OVER * over

    def put(self, name: str, number: int, position: int) -> None:
        self.rounds[number].insert(position, name)
