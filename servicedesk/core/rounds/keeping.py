"""The best plan so far, while several searches run: who finds a better one hands it in, whoever asked is told."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import Problem


@dataclass(frozen=True)
class Budget:
    """How long to plan: seconds of the clock, or iterations of the search (then the same seed gives the same plan), or both.
    `threads` searches run beside one another."""

    seconds: float | None = None
    iterations: int | None = None
    seed: int = 1
    threads: int = 1


@dataclass(frozen=True)
class Progress:
    """A better plan was found `seconds` after the beginning; `missing` visits are not in it. `orders()` gives it."""

    seconds: float
    cost: int
    missing: int
    orders: Callable[[], Orders]


@dataclass
class Keeper:
    """Keeps what is best: fewest visits missing, then cheapest. Told from any thread; of plans as good as one another the same one is kept,
    whoever comes first; `firm`, the plan from which a search began, gives way only to a better one."""

    problem: Problem
    told: Callable[[Progress], None] | None = None
    began: float = field(default_factory=time.perf_counter)
    best: Progress | None = None
    firm: Progress | None = None
    first_s: float | None = None
    fewest: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def offer(self, cost: int, missing: int, orders: Callable[[], Orders]) -> bool:
        """Whether this was better than all before."""
        with self.lock:
            if self.best is not None and (missing, cost) >= (self.best.missing, self.best.cost):
                if self.best is not self.firm and (missing, cost) == (self.best.missing, self.best.cost):
                    self.best = min(self.best, replace(self.best, orders=orders), key=_in_order)
                return False
            self.best = Progress(time.perf_counter() - self.began, cost, missing, orders)
            if self.first_s is None or missing < self.fewest:
                self.first_s, self.fewest = self.best.seconds, missing
            if self.told is not None:
                self.told(self.best)
            return True


def _in_order(best: Progress) -> list[tuple[str, int, tuple[str, ...]]]:
    """A plan as something that can be compared with another one."""
    return sorted((*key, tuple(order)) for key, order in best.orders().items() if order)
