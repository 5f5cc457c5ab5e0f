"""When the day breaks: the smallest change at once, a better one with a price on every change, and the best there is.

The caller hands in the problem as it is now: done visits gone, technicians starting where and when they next can, the sick one's
shift gone, the call-out added; and the plan as it was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from servicedesk.core.rounds.insertion import mended
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.plan import REFILL, Orders, Plan, Round, Stop
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import Problem, Visit, Window
from servicedesk.core.rounds.rules import judge

SOON_S = 1800
"""A start that moves by more than this counts as another hour."""
PERSON_PRICE, DAY_PRICE, HOUR_PRICE = 1200, 2400, 600
"""What a change is worth, in seconds of driving (common practice)."""
SMALLEST, PRICED, FREE = "smallest", "priced", "free"


@dataclass(frozen=True)
class Changes:
    """What is different for those who wait: visits that get another technician, another day, another hour (by more than half an
    hour), and that are new to the plan or lost to it."""

    person: tuple[str, ...]
    day: tuple[str, ...]
    hour: tuple[str, ...]
    added: tuple[str, ...]
    lost: tuple[str, ...]

    @property
    def moved(self) -> int:
        """How many visits change at all."""
        return len({*self.person, *self.day, *self.hour})


@dataclass(frozen=True)
class Offer:
    """A plan to choose, with what it changes: seconds of driving and of overtime more than before (less than nought: saved)."""

    kind: str
    plan: Plan
    changes: Changes
    more_driving: int
    more_overtime: int


def changes(before: Plan, after: Plan) -> Changes:
    """What differs between two plans."""
    was, now = before.where, after.where
    both = [name for name in was if name in now]
    return Changes(
        tuple(n for n in both if was[n][0].technician != now[n][0].technician),
        tuple(n for n in both if was[n][0].day != now[n][0].day),
        tuple(
            n
            for n in both
            if was[n][0].day == now[n][0].day and abs(was[n][1].start - now[n][1].start) > SOON_S
        ),
        tuple(name for name in now if name not in was),
        tuple(name for name in was if name not in now),
    )


def smallest_change(problem: Problem, before: Orders) -> Plan:
    """Every round that still holds stays as it is, but for visits put between others: what left the problem is taken out, what no
    longer fits or is new goes to its cheapest place. Milliseconds; the orders of the rest are kept."""
    known = {
        key: tuple(name for name in order if name == REFILL or name in problem.visit)
        for key, order in before.items()
    }
    return judge(problem, mended(problem, known))[0]


def _priced(problem: Problem, before: Plan) -> Problem:
    """The problem with a price on every change for those who were planned before."""
    where = before.where
    return replace(
        problem, visits=tuple(_with_prices(visit, where.get(visit.id)) for visit in problem.visits)
    )


def _with_prices(visit: Visit, was: tuple[Round, Stop] | None) -> Visit:
    if was is None:
        return visit
    round_, stop = was
    windows: list[Window] = []
    for window in visit.windows:
        if window.day != round_.day:
            windows.append(replace(window, price=window.price + DAY_PRICE))
            continue
        first = max(window.earliest, stop.start - SOON_S)
        last = min(window.latest, stop.start + SOON_S)
        if first <= last:
            windows.append(replace(window, earliest=first, latest=last))
        if (first, last) != (window.earliest, window.latest):
            windows.append(replace(window, price=window.price + HOUR_PRICE))
    return replace(
        visit,
        windows=tuple(windows),
        usual=round_.technician,
        change_price=visit.change_price + PERSON_PRICE,
    )


def _offer(kind: str, problem: Problem, before: Plan, orders: Orders) -> Offer:
    plan = judge(problem, orders)[0]
    there = changes(before, plan)
    lost = tuple(name for name in there.lost if name in problem.visit)
    return Offer(
        kind, plan, replace(there, lost=lost), plan.driving - before.driving, plan.overtime - before.overtime
    )


def offers(
    problem: Problem,
    before: Plan,
    budget: Budget,
    *,
    told: Callable[[Offer], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> list[Offer]:
    """Smallest, priced and free, in this order; `told` of each as soon as it is there (the first after milliseconds). The
    budget holds for each of the two searches. Raises NotPlanned."""
    made = [_offer(SMALLEST, problem, before, smallest_change(problem, before.orders).orders)]
    if told is not None:
        told(made[0])
    for kind, asked in ((PRICED, _priced(problem, before)), (FREE, problem)):
        found = plan_rounds(asked, budget, start=made[0].plan.orders, cancelled=cancelled)
        made.append(_offer(kind, problem, before, found.plan.orders))
        if told is not None:
            told(made[-1])
    return made
