"""One search on arrays, of several beside one another, until it is told to stop.

It cools down twice: soon, so that a good plan is there early, and once more for the rest of the time, from the best of all lanes.
Where nothing holds with every visit in it, it begins anew with visits left out at a price. Until the functions are compiled another
search is used, and so it is where they cannot be."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from servicedesk.core.rounds.compiled.arrays import (
    BEST_COST,
    BETTER,
    BLINK,
    HEAT,
    NOISE,
    WAY,
    Arrays,
    State,
    arrays_of,
    best_orders,
    load_orders,
)
from servicedesk.core.rounds.compiled.compiling import ENGINE, Engine
from servicedesk.core.rounds.compiled.reading import HUGE
from servicedesk.core.rounds.engine import Until
from servicedesk.core.rounds.keeping import Budget, Keeper
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import NO_WAY_S, Key, Problem
from servicedesk.core.rounds.rules import round_cost
from servicedesk.core.rounds.sectors import MISSING_PRICE

HEATS = (0.3, 0.03), (0.8, 0.06)
"""Heat at the beginning and at the end, in shares of what a visit costs on average; where windows bind more, by trial."""
OVERLOOKED, CHANCE = 0.02, 0.03
EARLY_S, LONG_S = 9.0, 15.0
"""The first cooling takes so many seconds, where there are more than LONG_S in all."""
SLICE_S, SLICE, MOST_SLICE = 0.05, 100, 2000
"""The clock is asked about so often; with a limit of iterations after so many turns."""
IN_VAIN = 0.4
"""Share of what was left of the time, after which a search that found nothing whole begins anew with visits left out."""


Others = Callable[[Until, int, Orders | None], dict[Key, tuple[str, ...]]]
"""Another search until then, for one lane, from a plan; what to fall back on after it."""


def missing_price(problem: Problem) -> int:
    """What leaving out a visit costs that must be made: more than any way to it and back."""
    seconds, cost = problem.travel.arrays
    return max(MISSING_PRICE, 3 * int(cost[seconds < NO_WAY_S].max(initial=0)))


@dataclass
class Known:
    """A problem on arrays: `whole` with every visit that must be made in it, None where one has no day at all."""

    problem: Problem
    whole: Arrays | None

    @cached_property
    def some(self) -> Arrays | None:
        """The same with visits left out at a price."""
        return arrays_of(self.problem, missing_price(self.problem))


def known(problem: Problem) -> Known | None:
    """The problem for the search on arrays; None where that does not know all its rules."""
    found = Known(problem, arrays_of(problem))
    return found if found.whole is not None or found.some is not None else None


class Lane:
    """Searches until it is told to; `last` is what to fall back on where nothing whole was found."""

    def __init__(
        self,
        known: Known,
        keeper: Keeper,
        budget: Budget,
        until: Until,
        lane: int,
        other: Others,
        engine: Engine = ENGINE,
    ) -> None:
        self.known, self.problem = known, known.problem
        self.keeper, self.budget, self.until, self.lane = keeper, budget, until, lane
        self.other, self.engine, self.last = other, engine, dict[Key, tuple[str, ...]]()
        self.worths: dict[tuple[Key, tuple[str, ...]], int | None] = {}
        self.turns = SLICE

    def run(self, start: Orders | None) -> None:
        """Until time is up."""
        must = any(visit.skip_price is None for visit in self.problem.visits)
        if not self._ready(start):
            self._otherwise(start, self.until)
        elif self.known.whole is None or not self._cooled(self.known.whole, start, IN_VAIN if must else 1.0):
            assert self.known.some is not None  # else it is not known
            self._cooled(self.known.some, start, 1.0)

    def _ready(self, start: Orders | None) -> bool:
        """Whether the functions are compiled; until they are it is searched otherwise. With a limit of iterations they are waited
        for, so that the plan does not hang on how long that takes."""
        ready, stop = self.engine.wanted(), self.until.cancelled
        if self.budget.iterations is not None:
            while not ready.wait(SLICE_S) and not self.until.over():
                continue
        elif not ready.is_set():
            either = replace(self.until, cancelled=lambda: ready.is_set() or (stop is not None and stop()))
            self._otherwise(start, either)
        return ready.is_set() and not self.engine.failed

    def _otherwise(self, start: Orders | None, until: Until) -> None:
        self.last = self.other(until, self.lane, start)

    def _cooled(self, arrays: Arrays, start: Orders | None, vain: float) -> bool:
        """Whether anything whole was found before this share of the time that was left was over."""
        w = arrays.state(self.budget.seed * 101 + self.lane)
        first, (hot, cold) = self._used(), HEATS[arrays.hours is not None]
        for begin, end in self._spans():
            known = self.keeper.best
            alone = self.budget.iterations is not None or known is None
            load_orders(arrays, w, (start or {}) if alone or known is None else known.orders())
            self.engine.turns.begin(w)
            w.knob[BLINK], w.knob[NOISE] = OVERLOOKED, CHANCE
            self._offer(arrays, w)
            unit = float(w.worth[:, WAY].sum()) / max(1, len(self.problem.visits))
            while not self.until.over() and (used := self._used()) < end:
                if w.knob[BEST_COST] >= HUGE and used > first + vain * (1 - first):
                    return False
                share = max(0.0, (used - begin) / (end - begin))
                w.knob[HEAT] = unit * hot * (cold / hot) ** share
                self._slice(w)
                self._offer(arrays, w)
        return True

    def _spans(self) -> list[tuple[float, float]]:
        """Shares of the whole time over which it cools down."""
        seconds = self.budget.seconds
        if self.budget.iterations is not None or seconds is None or seconds <= LONG_S:
            return [(0.0, 1.0)]
        first = EARLY_S / seconds
        return [(0.0, first), (first, 1.0)]

    def _used(self) -> float:
        """Share of the time that is gone, from 0 to 1."""
        if self.until.moment is not None and self.budget.seconds:
            return 1 - (self.until.moment - time.perf_counter()) / self.budget.seconds
        return self.until.done / (self.until.iterations or 1)

    def _slice(self, w: State) -> None:
        """Some turns, about as many as the clock allows between two looks at it."""
        counted = self.budget.iterations is not None
        turns = self.until.at_most(SLICE if counted else self.turns).iterations or 1
        began = time.perf_counter()
        self.engine.turns.take(w, turns)
        self.until.done += turns
        took = max(1e-6, time.perf_counter() - began)
        self.turns = max(1, min(MOST_SLICE, int(turns * min(2.0, SLICE_S / took))))

    def _offer(self, arrays: Arrays, w: State) -> None:
        """Hands in the best plan where it is new and holds by the product's own rules."""
        if not w.count[BETTER]:
            return
        w.count[BETTER] = 0
        orders = best_orders(arrays, w)
        costs = [self._worth(key, order) for key, order in orders.items()]
        if any(cost is None for cost in costs):
            return
        day = {name: key[1] for key, order in orders.items() for name in order}
        chosen = [
            (tie, tuple(day[name] for name in tie.visits))
            for tie in self.problem.ties
            if tie.visits[0] in day
        ]
        prices = sum(tie.price(tie.patterns.index(days)) for tie, days in chosen)
        left = [visit.skip_price for visit in self.problem.visits if visit.id not in day]
        cost = sum(cost or 0 for cost in costs) + prices + sum(price or 0 for price in left)
        self.keeper.offer(cost, left.count(None), _as_they_are(orders))

    def _worth(self, key: Key, order: tuple[str, ...]) -> int | None:
        """What a round costs by the product's own rules; None where it breaks one."""
        if (key, order) not in self.worths:
            self.worths[key, order] = round_cost(self.problem, self.problem.shift[key], order)
        return self.worths[key, order]


def _as_they_are(orders: Any) -> Callable[[], Orders]:
    return lambda: orders
