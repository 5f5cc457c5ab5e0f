"""Large problems in parts: neighbouring technicians (or vehicles) with all their visits are planned anew together, two such parts
at a time, and put back where that is better; then other parts. The first plan is made in parts as well.

Parts are found from the travel matrix alone: no coordinates are needed, and one-way streets count."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

from servicedesk.core.rounds.engine import Tuning, Until, search
from servicedesk.core.rounds.insertion import mended, put_in
from servicedesk.core.rounds.keeping import Budget, Keeper
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.model import build, cost_of, missing_of, orders_of, solution_of
from servicedesk.core.rounds.plan import REFILL, Orders
from servicedesk.core.rounds.problem import Key, Problem, Shift, Visit
from servicedesk.core.rounds.rules import fits, judge, round_cost

PART = 200
"""Visits planned together: the search is at its best up to here."""
ITERATIONS_A_VISIT = 15
MISSING_PRICE = 50_000
SPARE = 3
FIRST_ITERATIONS = 8
SHORT, LONG = Tuning(same_day=16, other_days=30, shaken=10), Tuning(same_day=30, other_days=30, shaken=25)
"""How to look around where rounds have few stops, and where they have many."""
FEW_STOPS = 18

Found = dict[Key, tuple[str, ...]]


@dataclass
class _Units:
    """What moves together: a technician with all days, or a single round where everyone has one day only."""

    keys: list[list[Key]]

    @classmethod
    def of(cls, problem: Problem) -> _Units:
        by_technician: dict[str, list[Key]] = defaultdict(list)
        for shift in problem.shifts:
            by_technician[shift.technician].append(shift.key)
        return cls(list(by_technician.values()))


def halves(costs: Any, places: Sequence[int], parts: int) -> list[list[int]]:
    """Numbers of `places` in so many parts of like size, each in one corner: cut again and again between the two places that
    lie furthest apart."""

    def cut(inside: Any, parts: int) -> list[list[int]]:
        if parts <= 1 or len(inside) < 2:
            return [inside.tolist()]
        at = np.asarray(places)[inside]
        one = at[int(np.argmax(costs[at[0], at]))]
        other = at[int(np.argmax(costs[one, at]))]
        order = inside[np.argsort(costs[one, at] - costs[other, at], kind="stable")]
        left = parts // 2
        edge = len(order) * left // parts
        return [*cut(order[:edge], left), *cut(order[edge:], parts - left)]

    return cut(np.arange(len(places)), parts)


def part_of(problem: Problem, keys: Sequence[Key], visits: Sequence[Visit]) -> Problem:
    """The problem of these shifts and visits alone."""
    return replace(
        problem, visits=tuple(visits), shifts=tuple(problem.shift[key] for key in keys), ties=(), pairs=()
    )


def tuning_for(problem: Problem) -> Tuning:
    """By how many stops a round has as a rule, judged from loads and hours."""
    wanted = 1.0
    hours = sum(s.paid if s.paid is not None else s.latest - s.earliest for s in problem.shifts)
    wanted = max(wanted, sum(v.seconds for v in problem.visits) * len(problem.shifts) / max(1, hours))
    for dimension in range(len(problem.shifts[0].van)):
        load = sum(v.loads[dimension] for v in problem.visits if dimension < len(v.loads))
        wanted = max(
            wanted, load * len(problem.shifts) / max(1, sum(s.van[dimension] for s in problem.shifts))
        )
    return SHORT if len(problem.visits) <= FEW_STOPS * wanted else LONG


def solve_part(
    part: Problem, start: Orders | None, seed: int, until: Until, *, skippable: bool, tuning: Tuning = SHORT
) -> tuple[int, int, Found]:
    """Missing visits, cost and orders of a part planned anew, not worse than `start`."""
    model = build(part, skippable=MISSING_PRICE if skippable else None)
    begun = None if start is None else solution_of(model, start, judge(part, start)[0])
    best = search(model, tuning, seed, until, begun)
    if best.is_feasible():
        return missing_of(model, best), cost_of(model, best), orders_of(model, best)
    whole = mended(part, orders_of(model, best))
    served = {name for order in whole.values() for name in order}
    missing = sum(v.skip_price is None and v.id not in served for v in part.visits)
    return missing, sum(round_cost(part, part.shift[k], o) or 0 for k, o in whole.items()), whole


class Sectors:
    """Plans a large problem until it is told to stop, handing each better plan to the keeper."""

    def __init__(self, problem: Problem, keeper: Keeper, budget: Budget, until: Until) -> None:
        self.problem, self.keeper, self.budget, self.until = problem, keeper, budget, until
        self.drawn = random.Random(budget.seed)
        self.costs = problem.travel.arrays[1]
        self.units = _Units.of(problem)
        self.orders: Found = {}
        self.tuning = tuning_for(problem)
        self.number = 0
        self.idle = 0

    def run(self, start: Orders | None) -> None:
        """Until time is up."""
        with ThreadPoolExecutor(max(1, self.budget.threads)) as pool:
            if start is None:
                self._first(pool)
            else:
                self.orders = mended(self.problem, start)
            self._offer()
            while not self.until.over():
                self._round(pool)

    def _offer(self) -> bool:
        orders, plan = dict(self.orders), judge(self.problem, self.orders)[0]
        missing = sum(self.problem.visit[name].skip_price is None for name in plan.missing)
        return self.keeper.offer(plan.cost, missing, lambda: orders)

    def _limits(self, sizes: Sequence[int], effort: float = 1.0) -> list[Until]:
        """An end for each part; the iterations that parts may take are taken off at once, so that they count the same whoever
        comes first."""
        limits = []
        for size in sizes:
            limit = self.until.at_most(max(50, int(ITERATIONS_A_VISIT * size * effort)))
            self.until.done += limit.iterations or 0
            limits.append(limit)
        return limits

    def _seed(self) -> int:
        self.number += 1
        return self.budget.seed * 100_003 + self.number

    def _first(self, pool: ThreadPoolExecutor) -> None:
        """A first plan, part by part, and what found no room in its part wherever there is some."""
        parts = self._first_parts()
        limits = self._limits([len(part.visits) for part in parts], FIRST_ITERATIONS / ITERATIONS_A_VISIT)
        seeds = [self._seed() for _part in parts]
        made = pool.map(
            lambda p, s, u: solve_part(p, None, s, u, skippable=True, tuning=self.tuning),
            parts,
            seeds,
            limits,
        )
        for _missing, _cost, orders in made:
            self.orders |= orders
        served = {name for order in self.orders.values() for name in order}
        for visit in self.problem.visits:
            if visit.id not in served and not self.until.over():
                put_in(self.problem, self.orders, visit)

    def _first_parts(self) -> list[Problem]:
        problem, keys = self.problem, self.units.keys
        many = max(1, round(len(problem.visits) / PART))
        starts = [problem.shift[unit[0]].start for unit in keys]
        if len(set(starts)) == 1:
            cut = halves(self.costs, [visit.place for visit in problem.visits], many)
            shares = [keys[n :: len(cut)] for n in range(len(cut))]
            return [
                part_of(problem, [k for unit in share for k in unit], [problem.visits[n] for n in numbers])
                for share, numbers in zip(shares, cut, strict=True)
            ]
        groups = [[keys[n] for n in numbers] for numbers in halves(self.costs, starts, min(many, len(keys)))]
        return [
            part_of(problem, [k for u in g for k in u], v)
            for g, v in zip(groups, self._shared(groups), strict=True)
        ]

    def _shared(self, groups: Sequence[Sequence[Sequence[Key]]]) -> list[list[Visit]]:
        """Which group of technicians each visit goes to first: the nearest that may serve it and still has hours."""
        shifts = [[self.problem.shift[k] for unit in group for k in unit] for group in groups]
        room = [
            float(sum(s.paid if s.paid is not None else s.latest - s.earliest for s in some))
            for some in shifts
        ]
        whole = sum(visit.seconds for visit in self.problem.visits)
        scale = whole / (sum(room) or 1.0)
        shares: list[list[Visit]] = [[] for _group in groups]
        near = [np.min(self.costs[sorted({s.start for s in some})], axis=0) for some in shifts]
        regret = [float(np.partition([n[v.place] for n in near], min(1, len(near) - 1))[min(1, len(near) - 1)] - min(n[v.place] for n in near)) for v in self.problem.visits]  # fmt: skip
        left = [hours * scale * 1.05 for hours in room]
        for number in sorted(range(len(regret)), key=lambda n: -regret[n]):
            visit = self.problem.visits[number]
            able = [g for g, some in enumerate(shifts) if _any_fits(visit, some)] or list(range(len(groups)))
            best = min(able, key=lambda g: (left[g] < visit.seconds, near[g][visit.place]))
            left[best] -= visit.seconds
            shares[best].append(visit)
        return shares

    def _round(self, pool: ThreadPoolExecutor) -> None:
        """Some parts at once; better ones are put back."""
        parts = self._parts()
        limits = self._limits([len(part.visits) for part in parts], 1 + self.idle / 10)
        seeds = [self._seed() for _part in parts]
        starts = [{s.key: self.orders.get(s.key, ()) for s in part.shifts} for part in parts]
        made = list(pool.map(lambda p, o, s, u: self._anew(p, o, s, u), parts, starts, seeds, limits))
        for part, found in zip(parts, made, strict=True):
            if found is not None:
                for shift in part.shifts:
                    self.orders.pop(shift.key, None)
                self.orders |= found
        self.idle = 0 if self._offer() else self.idle + 1

    def _anew(self, part: Problem, start: Orders, seed: int, until: Until) -> Found | None:
        """Better orders of a part, or None."""
        costs = [round_cost(part, part.shift[key], order) for key, order in start.items()]
        served = {name for order in start.values() for name in order}
        missing = sum(v.skip_price is None and v.id not in served for v in part.visits)
        before = (missing, sum(c or 0 for c in costs))
        found = solve_part(part, start, seed, until, skippable=missing > 0, tuning=self.tuning)
        return found[2] if found[:2] < before else None

    def _parts(self) -> list[Problem]:
        """Disjoint parts, one for each thread: a technician drawn by lot with the nearest others."""
        problem = self.problem
        loaded = [n for n, unit in enumerate(self.units.keys) if any(self.orders.get(key) for key in unit)]
        idle = [n for n in range(len(self.units.keys)) if n not in set(loaded)]
        served = {name for order in self.orders.values() for name in order}
        lost = [visit for visit in problem.visits if visit.id not in served]
        weights = self._weights(loaded)
        parts, left = [], list(range(len(loaded)))
        for _thread in range(max(1, self.budget.threads)):
            if not left:
                break
            seed = left[int(self.drawn.random() * len(left))]
            near = weights[seed] @ self.costs @ weights[left].T
            chosen: list[int] = []
            visits: list[Visit] = []
            for n in np.argsort(near, kind="stable"):
                inside = self._visits(loaded[left[int(n)]])
                if visits and len(visits) + len(inside) > PART:
                    break
                chosen.append(left[int(n)])
                visits += inside
            left = [n for n in left if n not in chosen]
            spare, idle = idle[:SPARE], idle[SPARE:]
            keys = [key for n in [*(loaded[c] for c in chosen), *spare] for key in self.units.keys[n]]
            parts.append(part_of(problem, keys, [*visits, *lost]))
            lost = []
        return parts

    def _visits(self, unit: int) -> list[Visit]:
        names = [n for key in self.units.keys[unit] for n in self.orders.get(key, ()) if n != REFILL]
        return [self.problem.visit[name] for name in names]

    def _weights(self, loaded: Sequence[int]) -> Any:
        """For each of these units the share of its visits at each place."""
        weights = np.zeros((len(loaded), len(self.costs)))
        for row, unit in enumerate(loaded):
            visits = self._visits(unit)
            for visit in visits:
                weights[row, visit.place] += 1 / len(visits)
        return weights


def _any_fits(visit: Visit, shifts: Sequence[Shift]) -> bool:
    return any(fits(visit, shift) is None for shift in shifts)
