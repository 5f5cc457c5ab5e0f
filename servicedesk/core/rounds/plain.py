"""The underlying library with all its defaults on the same model: what the planner is measured against."""

from __future__ import annotations

import time
from collections.abc import Callable

from servicedesk.core.rounds.engine import Told, Until, quiet
from servicedesk.core.rounds.later import vrp
from servicedesk.core.rounds.model import build, orders_of
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import Problem


def plain_default(
    problem: Problem,
    seconds: float,
    seed: int,
    better: Callable[[Orders], None],
    iterations: int | None = None,
) -> None:
    """Tells of each better plan without fault. It has no means for days that hang together: tied visits keep their first
    pattern."""
    days = {v: day for tie in problem.ties for v, day in zip(tie.visits, tie.patterns[0], strict=True)}
    model = build(problem, days=days)
    params = vrp.SolveParams(
        ils=vrp.IteratedLocalSearchParams(callbacks=Told(lambda s: better(orders_of(model, s))))
    )
    until = Until(iterations, time.perf_counter() + seconds)
    quiet()
    result = vrp.solve(model.data, until, seed=seed, collect_stats=False, params=params)
    if result.is_feasible():
        better(orders_of(model, result.best))
