"""One search for tied visits on arrays, of several beside one another, until it is told to stop.

It cools down twice: soon, so that a good plan is there early, and once more for the rest of the time, from the best of all lanes.
Until the functions are compiled, and where they find nothing that holds, the search of `patterns` is used, and so it is for problems
with rules that the arrays do not know (see `arrays`)."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from servicedesk.core.rounds.engine import Until
from servicedesk.core.rounds.keeping import Budget, Keeper
from servicedesk.core.rounds.patterns import Patterns
from servicedesk.core.rounds.periodic.arrays import (
    BEST_COST,
    BETTER,
    BLINK,
    HEAT,
    HUGE,
    NOISE,
    WAY,
    Arrays,
    State,
    arrays_of,
    best_orders,
    load_orders,
)
from servicedesk.core.rounds.periodic.compiling import ENGINE, Engine
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import Key, Problem
from servicedesk.core.rounds.rules import round_cost

HOT, COLD = 0.3, 0.03
"""Heat at the beginning and at the end, in shares of what a visit costs on average."""
OVERLOOKED, CHANCE = 0.02, 0.03
EARLY_S, LONG_S = 9.0, 15.0
"""The first cooling takes so many seconds, where there are more than LONG_S in all."""
SLICE_S, SLICE, MOST_SLICE = 0.05, 100, 2000
"""The clock is asked about so often; with a limit of iterations after so many turns."""
IN_VAIN = 0.4
"""Share of what was left of the time, after which a search that found nothing whole gives up."""


class Lane:
    """Searches until it is told to; `last` is what to fall back on where nothing whole was found."""

    def __init__(
        self,
        problem: Problem,
        keeper: Keeper,
        budget: Budget,
        until: Until,
        lane: int,
        engine: Engine = ENGINE,
    ) -> None:
        self.problem, self.keeper, self.budget, self.until, self.lane = problem, keeper, budget, until, lane
        self.engine, self.last = engine, dict[Key, tuple[str, ...]]()
        self.worths: dict[tuple[Key, tuple[str, ...]], int | None] = {}
        self.turns = SLICE

    def run(self, start: Orders | None) -> None:
        """Until time is up."""
        arrays = arrays_of(self.problem)
        if arrays is None or not self._ready(start) or not self._cooled(arrays, start):
            self._otherwise(start, self.until)

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
        """The search of patterns."""
        other = Patterns(self.problem, self.keeper, self.budget, until, self.lane)
        other.run(start)
        self.last = other.last

    def _cooled(self, arrays: Arrays, start: Orders | None) -> bool:
        """Whether anything whole was found, or there is no time to try otherwise."""
        w = arrays.state(self.budget.seed * 101 + self.lane)
        first = self._used()
        for begin, end in self._spans():
            known = self.keeper.best
            alone = self.budget.iterations is not None or known is None
            load_orders(arrays, w, (start or {}) if alone or known is None else known.orders())
            self.engine.turns.begin(w)
            w.knob[BLINK], w.knob[NOISE] = OVERLOOKED, CHANCE
            self._offer(arrays, w)
            unit = float(w.worth[:, WAY].sum()) / max(1, len(self.problem.visits))
            while not self.until.over() and (used := self._used()) < end:
                if w.knob[BEST_COST] >= HUGE and used > first + IN_VAIN * (1 - first):
                    return False
                share = max(0.0, (used - begin) / (end - begin))
                w.knob[HEAT] = unit * HOT * (COLD / HOT) ** share
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
        chosen = [(tie, tuple(day[name] for name in tie.visits)) for tie in self.problem.ties]
        prices = sum(tie.price(tie.patterns.index(days)) for tie, days in chosen)
        self.keeper.offer(sum(cost or 0 for cost in costs) + prices, 0, _as_they_are(orders))

    def _worth(self, key: Key, order: tuple[str, ...]) -> int | None:
        """What a round costs by the product's own rules; None where it breaks one."""
        if (key, order) not in self.worths:
            self.worths[key, order] = round_cost(self.problem, self.problem.shift[key], order)
        return self.worths[key, order]


def _as_they_are(orders: Any) -> Callable[[], Orders]:
    return lambda: orders
