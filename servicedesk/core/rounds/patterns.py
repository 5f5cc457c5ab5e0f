"""Visits whose days hang together: patterns are chosen around the search, since the model knows only single visits.

A few neighbouring sites are taken out of their rounds and each is put back with the pattern whose days cost least together (after
the pattern improvement of Vidal et al. 2012, Operations Research 60:611-624); then the search runs briefly from there. What is
better is kept, what is a little worse at first too; after many vain tries everything goes back to the best. It takes every problem; those
whose rules `compiled` knows are searched there, hundreds of times as fast, and here only until that is ready."""

from __future__ import annotations

import random
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from servicedesk.core.rounds.engine import Tuning, Until, search
from servicedesk.core.rounds.keeping import Budget, Keeper
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.model import Model, build, missing_of, orders_of, solution_of
from servicedesk.core.rounds.places import Found, Table
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import Key, Problem, Tie
from servicedesk.core.rounds.rules import round_cost

TUNING = Tuning(same_day=20, other_days=20, shaken=8)
PRESSED = replace(TUNING, pressure=4.0)
FIRST, BRIEF = 3000, 250
FIRST_A_VISIT = 13
MOST_RUINED = 12
VAIN = 50
LOOSE = 600
"""From so many windows on single visits, too, keep their day while the search runs."""
AHEAD = 0.985
"""A lane that is so far behind the best of all goes on from there at once."""
WHOLE, NEAR = 300, 130
"""Up to so many visits all are searched after each change; of more, so many around it."""
WARMTH = 0.004
"""Share of the cost by which a worse plan is still taken at the beginning; falls to nought."""
HEAVIER, LIGHTER, MOST_PULL = 1.2, 0.95, 100.0
"""How the penalty for a place grows while plans break rules, and falls while they do not."""


@dataclass
class Choice:
    """A plan with the pattern chosen for each tie."""

    patterns: dict[int, int]
    orders: Found
    cost: float
    missing: int
    broken: frozenset[Key]
    """Rounds that break a rule; their cost counts what is too much."""

    @property
    def holds(self) -> bool:
        return not self.broken

    @property
    def worth(self) -> tuple[bool, int, float]:
        """The less the better: whole plans first."""
        return not self.holds, self.missing, self.cost


def _broken(orders: Found, solution: Any) -> frozenset[Key]:
    """Rounds of a solution that break a rule; its routes stand in the order of `orders`."""
    return frozenset(
        key for key, route in zip(orders, solution.routes(), strict=True) if not route.is_feasible()
    )


def _settled(problem: Problem) -> Problem:
    """The problem, where single visits with many days would make its model large, with a pattern of one day for each of them."""
    if sum(len(visit.windows) for visit in problem.visits) <= LOOSE:
        return problem
    single = [visit for visit in problem.visits if visit.id not in problem.tied and len(visit.days) > 1]
    ties = tuple(Tie((visit.id,), tuple((day,) for day in sorted(visit.days))) for visit in single)
    return replace(problem, ties=(*problem.ties, *ties))


class Patterns:
    """Searches with patterns until it is told to stop; one of several beside one another."""

    def __init__(self, problem: Problem, keeper: Keeper, budget: Budget, until: Until, lane: int) -> None:
        self.free, self.keeper, self.budget, self.until = problem, keeper, budget, until
        self.problem = problem = _settled(problem)
        self.drawn = random.Random(f"{budget.seed} {lane}")
        self.number = budget.seed * 100_003 + lane * 50_021
        self.table = Table(problem)
        self.site = [problem.visit[tie.visits[0]].place for tie in problem.ties]
        costs = problem.travel.arrays[1]
        self.near = np.argsort(costs[np.ix_(self.site, self.site)], axis=1, kind="stable")
        self.last: Found = {}
        self.worths: dict[tuple[Key, tuple[str, ...]], float] = {}
        self.open = [n for n, tie in enumerate(problem.ties) if len(tie.patterns) > 1]

    def run(self, start: Orders | None) -> None:
        """Until time is up."""
        best = current = self._first(start)
        self._tell(best)
        self.last, vain = best.orders, 0
        while not self.until.over():
            patterns, orders = self._ruined(current)
            found = self._near(current, patterns, orders) or self._solve(
                patterns, orders, BRIEF, bool(current.broken)
            )
            self._tell(found)
            pull = self.table.pull * (HEAVIER if found.broken else LIGHTER)
            self.table.pull = min(MOST_PULL, max(1.0, pull))
            if found.worth < best.worth:
                best, current, vain = found, found, 0
                self.last = best.orders
                continue
            vain += 1
            limit = current.cost * (1 + WARMTH * self._warm() * self.drawn.random())
            if (found.missing, found.cost) <= (current.missing, limit):
                current = found
            shared = self._shared(best, 1.0 if vain % VAIN == 0 else AHEAD)
            if shared is not best:
                best = current = shared
            elif vain % VAIN == 0:
                current = best

    def _warm(self) -> float:
        """What is left of the time, from 1 to 0."""
        if self.budget.seconds is not None and self.until.moment is not None:
            return max(0.0, min(1.0, (self.until.moment - time.perf_counter()) / self.budget.seconds))
        return max(0.0, 1 - self.until.done / (self.until.iterations or 1))

    def _shared(self, best: Choice, ahead: float = 1.0) -> Choice:
        """Where to go on: the best of all lanes, where it costs less than this share of the own best and the clock rules anyway;
        else the own best."""
        known = self.keeper.best
        if self.budget.iterations is not None or known is None:
            return best
        if (False, known.missing, known.cost) >= (not best.holds, best.missing, best.cost * ahead):
            return best
        orders = dict(known.orders())
        return Choice(self._patterns_of(orders), orders, known.cost, known.missing, frozenset())

    def _patterns_of(self, orders: Orders) -> dict[int, int]:
        """The pattern each tie has in these orders; the first where they show none."""
        day = {name: key[1] for key, order in orders.items() for name in order}
        chosen = {}
        for number, tie in enumerate(self.problem.ties):
            days = tuple(day.get(visit, -1) for visit in tie.visits)
            chosen[number] = tie.patterns.index(days) if days in tie.patterns else 0
        return chosen

    def _first(self, start: Orders | None) -> Choice:
        if start is not None:
            return self._solve(self._patterns_of(start), dict(start), FIRST)
        ties = list(range(len(self.problem.ties)))
        self.drawn.shuffle(ties)
        ties.sort(key=lambda n: len(self.problem.ties[n].patterns))
        patterns = self._recreate({}, ties)
        for visit in self.problem.visits:
            if visit.id not in self.problem.tied and visit.windows:
                place = min(self.table.cheapest(visit.id, day) for day in sorted(visit.days))
                if place[1] >= 0:
                    self.table.put(visit.id, place[1], place[2])
        if self.problem is self.free:
            return self._solve(patterns, self.table.orders(), FIRST)
        return self._loose(patterns, self.table.orders())

    def _loose(self, patterns: Mapping[int, int], orders: Found) -> Choice:
        """The first search of a large problem, in which single visits may still change their day."""
        tied = {name: day for name, day in self._days(patterns).items() if name in self.free.tied}
        model = build(self.free, days=tied)
        found = orders_of(model, self._searched(model, orders, FIRST_A_VISIT * len(self.free.visits), True))
        return self._solve(self._patterns_of(found), found, 1)

    def _recreate(self, patterns: Mapping[int, int], ties: Sequence[int]) -> dict[int, int]:
        """Puts the visits of ties into the table, each with its cheapest pattern."""
        chosen = dict(patterns)
        for number in ties:
            tie = self.problem.ties[number]
            at = {d: self.table.cheapest(tie.visits[0], d) for d in {day for p in tie.patterns for day in p}}
            worth = [sum(at[day][0] for day in p) + tie.price(n) for n, p in enumerate(tie.patterns)]
            chosen[number] = min(range(len(worth)), key=lambda n: worth[n])
            self._put(tie, chosen[number], at)
        return chosen

    def _put(self, tie: Tie, pattern: int, at: Mapping[int, tuple[float, int, int]]) -> None:
        for name, day in zip(tie.visits, tie.patterns[pattern], strict=True):
            if at[day][1] >= 0:
                self.table.put(name, at[day][1], at[day][2])

    def _ruined(self, current: Choice) -> tuple[dict[int, int], Found]:
        """Other patterns for some neighbouring sites, with the orders that come of it."""
        self.table.take(current.orders)
        patterns = dict(current.patterns)
        wrong = {name for key in current.broken for name in current.orders.get(key, ())}
        able = [
            n for n in self.open if wrong and not wrong.isdisjoint(self.problem.ties[n].visits)
        ] or self.open
        seed = able[int(self.drawn.random() * len(able))]
        many = 1 + int(self.drawn.random() * min(MOST_RUINED, len(self.site)))
        reach = self.near[seed][: 2 * many].tolist()
        self.drawn.shuffle(reach)
        ties = list(dict.fromkeys([seed, *reach[: many - 1]]))
        self.table.remove([name for n in ties for name in self.problem.ties[n].visits])
        self.drawn.shuffle(ties)
        if self.drawn.random() < 0.5:  # one of them has to go elsewhere
            self._force(patterns, ties.pop(ties.index(seed)))
        return self._recreate(patterns, ties), self.table.orders()

    def _force(self, patterns: dict[int, int], number: int) -> None:
        """Another pattern than now for one tie, at random among those that are not dearest."""
        tie = self.problem.ties[number]
        at = {d: self.table.cheapest(tie.visits[0], d) for d in {day for p in tie.patterns for day in p}}
        others = [n for n in range(len(tie.patterns)) if n != patterns[number]]
        others.sort(key=lambda n: sum(at[day][0] for day in tie.patterns[n]) + tie.price(n))
        patterns[number] = others[int(self.drawn.random() ** 2 * len(others))]
        self._put(tie, patterns[number], at)

    def _near(self, current: Choice, patterns: dict[int, int], orders: Found) -> Choice | None:
        """The search in the rounds that changed and their neighbours alone, where the problem is large and the plan whole; None
        where all of it has to be searched."""
        if len(self.problem.visits) <= WHOLE:
            return None
        keys = self._changed(current.orders, orders)
        part = {key: orders.get(key, ()) for key in keys}
        inside = {name for order in part.values() for name in order}
        if len(inside) > 2 * NEAR:
            return None
        visits = tuple(visit for visit in self.problem.visits if visit.id in inside)
        shifts = tuple(self.problem.shift[key] for key in keys)
        problem = replace(self.problem, visits=visits, shifts=shifts, ties=())
        model = build(problem, days=self._days(patterns))
        best = self._searched(model, part, BRIEF, bool(current.broken))
        found = orders_of(model, best)
        cost = current.cost + self._prices(patterns) - self._prices(current.patterns)
        cost += sum(self._worth(key, order) for key, order in found.items())
        cost -= sum(self._worth(key, current.orders.get(key, ())) for key in keys)
        kept = {key: order for key, order in current.orders.items() if key not in part}
        missing = current.missing + missing_of(model, best) - self._lost(current, keys, inside)
        broken = current.broken - set(keys) | _broken(found, best)
        return Choice(patterns, kept | found, cost, missing, broken)

    def _lost(self, current: Choice, keys: Sequence[Key], inside: set[str]) -> int:
        """Visits of a part that were in no round before."""
        before = {name for key in keys for name in current.orders.get(key, ())}
        return sum(self.problem.visit[name].skip_price is None for name in inside - before)

    def _prices(self, patterns: Mapping[int, int]) -> int:
        return sum(self.problem.ties[n].price(p) for n, p in patterns.items())

    def _worth(self, key: Key, order: tuple[str, ...]) -> float:
        """What a round costs, and where it breaks a rule its way and what is too much."""
        if not order:
            return 0.0
        if (key, order) not in self.worths:
            cost = round_cost(self.problem, self.problem.shift[key], order)
            self.worths[key, order] = self.table.way(key, order) if cost is None else float(cost)
        return self.worths[key, order]

    def _changed(self, before: Found, after: Found) -> list[Key]:
        """Rounds that differ, an idle one for each day, and the nearest others until there is enough to search in."""
        keys = [shift.key for shift in self.problem.shifts]
        changed = [key for key in keys if before.get(key, ()) != after.get(key, ())]
        idle = {key[1]: key for key in keys if not after.get(key) and key not in changed}
        around = [self.problem.visit[n].place for key in changed for n in after.get(key, ())][:40]
        many = sum(len(after.get(key, ())) for key in changed)
        others = [key for key in keys if key not in changed and after.get(key)]
        costs = self.table.costs
        near = {
            key: float(costs[np.ix_(around, [self.problem.visit[n].place for n in after[key]])].mean())
            if around
            else 0.0
            for key in others
        }
        for key in sorted(others, key=lambda k: (near[k], k)):
            if many >= NEAR:
                break
            changed.append(key)
            many += len(after[key])
        chosen = {*changed, *idle.values()}
        return [key for key in keys if key in chosen]

    def _days(self, patterns: Mapping[int, int]) -> dict[str, int]:
        """The day of each tied visit."""
        return {
            name: day
            for n, tie in enumerate(self.problem.ties)
            for name, day in zip(tie.visits, tie.patterns[patterns[n]], strict=True)
        }

    def _searched(self, model: Model, orders: Found, iterations: int, pressed: bool) -> Any:
        limit = self.until.at_most(iterations)
        self.number += 1
        best = search(model, PRESSED if pressed else TUNING, self.number, limit, solution_of(model, orders))
        self.until.done += limit.done
        return best

    def _solve(
        self, patterns: dict[int, int], orders: Found, iterations: int, pressed: bool = True
    ) -> Choice:
        """The search with these patterns from these orders."""
        model = build(self.problem, days=self._days(patterns))
        best = self._searched(model, orders, iterations, pressed)
        found = orders_of(model, best)
        cost = sum(self._worth(key, order) for key, order in found.items())
        return Choice(
            patterns, found, cost + self._prices(patterns), missing_of(model, best), _broken(found, best)
        )

    def _tell(self, found: Choice) -> None:
        if found.holds:
            self.keeper.offer(int(found.cost), found.missing, lambda: found.orders)
