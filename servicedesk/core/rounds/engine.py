"""Running the underlying search on one model: an iterated local search with late acceptance, told how far to look, when to end
and whom to tell. Everything public of the library; nothing of it is changed."""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from servicedesk.core.rounds.later import vrp, vrp_exceptions, vrp_search
from servicedesk.core.rounds.model import Model
from servicedesk.core.rounds.neighbours import neighbour_table

SEEDS = 2**32
"""The library's random numbers begin from 32 bits."""
Better = Callable[[Any], None]
"""Is told a solution of the model, each time a better one without fault is found."""


@dataclass(frozen=True)
class Tuning:
    """How the search looks around: near clients of the same day and of others, the most it shakes up at once, how many
    acceptances it looks back, after how many iterations without news it goes back to its best."""

    same_day: int = 30
    other_days: int = 30
    shaken: int = 25
    pressure: float = 1.0
    """How much dearer than usual it is to break a rule on the way, at the beginning."""
    history: int = 300
    patience: int = 50_000


@dataclass
class Until:
    """When to stop: so many iterations, a moment of the clock (`time.perf_counter`), or somebody's word. Whichever comes first."""

    iterations: int | None = None
    moment: float | None = None
    cancelled: Callable[[], bool] | None = None
    done: int = field(default=0)

    def over(self) -> bool:
        """Whether it is time, counting nothing."""
        if self.iterations is not None and self.done >= self.iterations:
            return True
        if self.moment is not None and time.perf_counter() >= self.moment:
            return True
        return self.cancelled is not None and self.cancelled()

    def __call__(self, _best: float) -> bool:
        if self.over():
            return True
        self.done += 1
        return False

    def at_most(self, iterations: int) -> Until:
        """The same end, but after so many iterations at the latest."""
        left = iterations if self.iterations is None else min(iterations, self.iterations - self.done)
        return Until(left, self.moment, self.cancelled)


def quiet() -> None:
    """A penalty at its bound means overfull data; that is said in words by `why` and no warning."""
    warnings.simplefilter("ignore", vrp_exceptions.PenaltyBoundWarning)


def searcher(model: Model, tuning: Tuning, seed: int) -> tuple[Any, Any, Any]:
    """Random numbers, local search and penalties for a model."""
    quiet()
    data, rng = model.data, vrp.RandomNumberGenerator(seed % SEEDS)
    table = neighbour_table(model, same_day=tuning.same_day, other_days=tuning.other_days)
    shake = vrp_search.PerturbationManager(vrp_search.PerturbationParams(1, tuning.shaken))
    local = vrp_search.LocalSearch(data, rng, table, shake)
    for operator in vrp_search.OPERATORS:
        if operator.supports(data):
            local.add_operator(operator(data))
    params = vrp.PenaltyParams()
    loads, late, far = params.midpoint_penalties(data)
    begin = [load * tuning.pressure for load in loads], late * tuning.pressure, far
    return rng, local, vrp.PenaltyManager(begin, params)


def search(
    model: Model,
    tuning: Tuning,
    seed: int,
    until: Callable[[float], bool],
    start: Any = None,
    better: Better | None = None,
) -> Any:
    """The best solution found, not worse than `start`; where none without fault is known, the one the search stood at when it
    ended: the caller judges."""
    if not model.copies:
        return vrp.Solution(model.data, [])
    rng, local, penalties = searcher(model, tuning, seed)
    begun = vrp.Solution.make_random(model.data, rng) if start is None else start
    if start is None or not start.is_complete():
        begun = local(begun, penalties.max_cost_evaluator(), exhaustive=True)
    told = Told(better)
    told.on_best(begun)
    params = vrp.IteratedLocalSearchParams(tuning.patience, tuning.history, True, told)
    best = vrp.IteratedLocalSearch(model.data, penalties, local, begun, params).run(until, False).best
    return best if best.is_feasible() or told.latest is None else told.latest


class Told:
    """Hands on what is better and without fault."""

    def __init__(self, better: Better | None) -> None:
        self.better, self.latest = better, None

    def on_best(self, best: Any) -> None:
        if self.better is not None and best.is_feasible():
            self.better(best)

    def on_start(self, _search: Any) -> None: ...
    def on_end(self, _result: Any) -> None: ...
    def on_restart(self, _best: Any) -> None: ...

    def on_iteration(self, current: Any, _candidate: Any, _best: Any, _evaluator: Any) -> None:
        self.latest = current
