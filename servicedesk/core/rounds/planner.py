"""Planning: the one way in. What the search on arrays knows (`compiled`) is searched there, from several seeds beside one another, where
there is time to load it. Else small problems are searched whole by the library, large ones in parts, tied visits with their patterns
around it. Whatever comes out is judged by the product's own rules before it is given back."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from servicedesk.core.rounds.compiled.lane import Lane, Others, known
from servicedesk.core.rounds.engine import Tuning, Until, search
from servicedesk.core.rounds.insertion import mended
from servicedesk.core.rounds.keeping import Budget, Keeper, Progress
from servicedesk.core.rounds.model import Model, build, cost_of, missing_of, orders_of, solution_of
from servicedesk.core.rounds.odd import refuse_odd
from servicedesk.core.rounds.pairs import held_to, without_seconds
from servicedesk.core.rounds.patterns import Patterns
from servicedesk.core.rounds.plan import Orders, Plan
from servicedesk.core.rounds.problem import Key, NotPlanned, Problem
from servicedesk.core.rounds.rules import judge
from servicedesk.core.rounds.sectors import MISSING_PRICE, Sectors

WHOLE = 320
"""Up to so many visits are searched in one piece."""
IN_VAIN = 0.3
"""Share of the time after which a search that demands every visit gives up and leaves some out."""
LONG_S = 5.0
"""From so many seconds on it pays to load what is compiled; a shorter search, or one with a limit of iterations, does without unless
visits are tied."""
ONE_DAY = Tuning(same_day=40, other_days=0, shaken=25, patience=4000)
SEVERAL_DAYS = Tuning(same_day=12, other_days=30, shaken=10)


@dataclass(frozen=True)
class Outcome:
    """A plan that breaks nothing, and how it came about. `missing` visits of the plan find no room (why: see `why`).
    `first_s`: seconds until the first plan with everything that can be planned at all."""

    plan: Plan
    seconds: float
    first_s: float | None
    cancelled: bool


def plan_rounds(
    problem: Problem,
    budget: Budget,
    *,
    start: Orders | None = None,
    progress: Callable[[Progress], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Outcome:
    """Plans a problem. With `start` (an old plan's orders) it begins there and is never worse than what of it still holds.
    `progress` is told of each better plan, from any thread; `cancelled` is asked often and ends the search with the best so
    far. Raises NotPlanned for a problem that cannot be, with the reasons in words."""
    refuse_odd(problem)
    if budget.seconds is None and budget.iterations is None:
        raise NotPlanned("Planning needs an end: seconds or iterations.")
    if problem.pairs:
        return _with_pairs(problem, budget, start, progress, cancelled)
    keeper = Keeper(problem, progress)
    moment = None if budget.seconds is None else keeper.began + budget.seconds
    until = Until(budget.iterations, moment, cancelled)
    if start is not None:
        start = mended(problem, _untied(problem, start))
        _offered(problem, keeper, start)
        keeper.firm = keeper.best
    fallback = _searched(problem, keeper, budget, until, start)
    plan = _whole(problem, keeper, fallback)
    ended = cancelled is not None and cancelled()
    first = keeper.first_s if keeper.best is not None else None
    return Outcome(plan, time.perf_counter() - keeper.began, first, ended)


def _offered(problem: Problem, keeper: Keeper, orders: Orders) -> None:
    """Hands in a plan that holds."""
    plan = judge(problem, orders)[0]
    missing = sum(problem.visit[name].skip_price is None for name in plan.missing)
    keeper.offer(plan.cost, missing, lambda: orders)


def _searched(problem: Problem, keeper: Keeper, budget: Budget, until: Until, start: Orders | None) -> Orders:
    """Runs the search that suits; orders to fall back on where nothing whole was found."""
    if not problem.shifts or not problem.visits:
        return {}
    tied = any(len(tie.patterns) > 1 for tie in problem.ties)
    long = budget.iterations is None and (budget.seconds or 0) >= LONG_S
    arrays = known(problem) if tied or long else None
    many, other = range(max(1, budget.threads)), _other(problem, keeper, budget)
    if arrays is not None:
        lanes = [Lane(arrays, keeper, budget, replace(until), n, other) for n in many]
        _beside([partial(lane.run, start) for lane in lanes])
        return _untied(problem, lanes[0].last)
    if len(problem.visits) > WHOLE and not tied:
        Sectors(problem, keeper, budget, until).run(start)
        return {}
    last = dict[int, Orders]()

    def alone(lane: int) -> None:
        last[lane] = other(replace(until), lane, start)

    _beside([partial(alone, n) for n in many])
    return _untied(problem, last[0])


def _other(problem: Problem, keeper: Keeper, budget: Budget) -> Others:
    """The search for one lane of a problem that the arrays do not know, or until that is compiled."""

    def searched(until: Until, lane: int, start: Orders | None) -> dict[Key, tuple[str, ...]]:
        if any(len(tie.patterns) > 1 for tie in problem.ties):
            tied = Patterns(problem, keeper, budget, until, lane)
            tied.run(start)
            return dict(tied.last)
        if len(problem.visits) > WHOLE:
            Sectors(problem, keeper, replace(budget, threads=1, seed=budget.seed + lane), until).run(start)
            return {}
        alone = _Alone(problem, keeper, budget, until, lane)
        alone.run(start)
        return dict(alone.last)

    return searched


def _beside(works: list[Callable[[], None]]) -> None:
    """Runs pieces of work beside one another; the first error of any is raised here."""
    errors: list[BaseException] = []

    def guarded(work: Callable[[], None]) -> None:
        try:
            work()
        except BaseException as error:  # handed on below
            errors.append(error)

    threads = [threading.Thread(target=guarded, args=(work,)) for work in works[1:]]
    for thread in threads:
        thread.start()
    guarded(works[0])
    for thread in threads:
        thread.join()
    if errors:
        raise errors[0]


def _whole(problem: Problem, keeper: Keeper, fallback: Orders) -> Plan:
    """The best plan, judged; where none was found, as much of the fallback as holds."""
    orders = keeper.best.orders() if keeper.best is not None else mended(problem, fallback)
    plan, faults = judge(problem, orders)
    if any(fault.code != "missing" for fault in faults):
        plan, faults = judge(problem, mended(problem, _untied(problem, orders)))
    return plan


def _untied(problem: Problem, orders: Orders) -> Orders:
    """Orders without the visits whose pattern is broken."""
    day = {name: key[1] for key, order in orders.items() for name in order}
    gone = {name for tie in problem.ties if not tie.allows(day) for name in tie.visits}
    return {key: tuple(name for name in order if name not in gone) for key, order in orders.items()}


class _Alone:
    """One search of the whole problem: first with every visit demanded; where that stays in vain, with visits left out."""

    def __init__(self, problem: Problem, keeper: Keeper, budget: Budget, until: Until, lane: int) -> None:
        self.problem, self.keeper, self.budget, self.until = problem, keeper, budget, until
        self.lane, self.seed = lane, budget.seed + lane * 7919
        days = {tie.visits[k]: tie.patterns[0][k] for tie in problem.ties for k in range(len(tie.visits))}
        self.days = days
        self.tuning = ONE_DAY if len(problem.days) <= 1 else SEVERAL_DAYS
        self.found = False
        self.last: Orders = {}

    def run(self, start: Orders | None) -> None:
        """Until time is up."""
        model = build(self.problem, days=self.days)
        begun = None if start is None else solution_of(model, start, judge(self.problem, start)[0])
        if self.lane == 0 and start is None:
            self._at_once(model)
        best = search(model, self.tuning, self.seed, _Patient(self), begun, lambda s: self._better(model, s))
        self.last = orders_of(model, best)
        if not self.found:
            model = build(self.problem, days=self.days, skippable=MISSING_PRICE)
            whole = mended(self.problem, start if start is not None else self.last)
            begun = solution_of(model, whole, judge(self.problem, whole)[0])
            search(model, self.tuning, self.seed, self.until, begun, lambda s: self._better(model, s))

    def _at_once(self, model: Model) -> None:
        """A first plan before anything is searched, with as much in it as holds."""
        first = search(model, self.tuning, self.seed, Until(0))
        _offered(self.problem, self.keeper, mended(self.problem, orders_of(model, first), tries=50))

    def _better(self, model: Model, solution: Any) -> None:
        self.found = True
        missing = missing_of(model, solution)
        self.keeper.offer(cost_of(model, solution), missing, lambda: orders_of(model, solution))

    def in_vain(self) -> bool:
        """Whether nothing whole was found in its share of the time."""
        if self.found:
            return False
        used = 0.0
        if self.until.iterations is not None:
            used = self.until.done / max(1, self.until.iterations)
        if self.until.moment is not None and self.budget.seconds:
            left = self.until.moment - time.perf_counter()
            used = max(used, 1 - left / self.budget.seconds)
        return used > IN_VAIN


class _Patient:
    """Ends with the time, or once the search is in vain."""

    def __init__(self, alone: _Alone) -> None:
        self.alone = alone

    def __call__(self, best: float) -> bool:
        return self.alone.in_vain() or self.alone.until(best)


def _with_pairs(
    problem: Problem,
    budget: Budget,
    start: Orders | None,
    progress: Callable[[Progress], None] | None,
    cancelled: Callable[[], bool] | None,
) -> Outcome:
    """Visits for two: first without the second person, then with that one held to the moment at which the first begins."""
    second = {pair.second: pair.first for pair in problem.pairs}
    half = replace(
        budget,
        seconds=None if budget.seconds is None else budget.seconds / 2,
        iterations=None if budget.iterations is None else budget.iterations // 2,
    )
    alone = without_seconds(problem)
    before = plan_rounds(alone, half, start=start, cancelled=cancelled)
    held, where = [], before.plan.where
    everybody = frozenset(shift.technician for shift in problem.shifts)
    for visit in problem.visits:
        first = second.get(visit.id, visit.id)
        if first not in where:
            continue
        round_, stop = where[first]
        paired = visit.id in second or visit.id in second.values()
        window = (held_to(problem.visit[first], round_.day, stop.start),)
        others = frozenset({round_.technician}) if visit.id == first else everybody - {round_.technician}
        able = others if visit.technicians is None else others & visit.technicians
        held.append(replace(visit, windows=window, technicians=able) if paired else visit)
    there = {visit.id for visit in held}
    held += [visit for visit in alone.visits if visit.id not in there]
    both = replace(problem, visits=tuple(held), pairs=())
    after = plan_rounds(both, half, start=before.plan.orders, progress=progress, cancelled=cancelled)
    orders = _paired(problem, after.plan.orders)
    timed = {visit.id: visit for visit in held}  # as it was held: else each of two would begin when it likes
    whole = replace(problem, visits=tuple(timed.get(visit.id, visit) for visit in problem.visits))
    plan = judge(whole, orders)[0]
    return Outcome(plan, before.seconds + after.seconds, after.first_s, after.cancelled)


def _paired(problem: Problem, orders: Orders) -> Orders:
    """Orders without visits for two of which only one found its place."""
    there = {name for order in orders.values() for name in order}
    lonely = {
        name
        for pair in problem.pairs
        if not {pair.first, pair.second} <= there
        for name in (pair.first, pair.second)
    }
    return {key: tuple(n for n in order if n not in lonely) for key, order in orders.items()}
