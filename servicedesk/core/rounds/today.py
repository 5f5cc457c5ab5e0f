"""When the day breaks: the smallest change at once, a better one with a price on every change, and the best there is.

The caller hands in the problem as it is now: done visits gone, technicians starting where and when they next can, the sick one's
shift gone, the call-out added; and the plan as it was."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from servicedesk.core.rounds.insertion import mended
from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.plan import REFILL, Orders, Plan, Round, Stop
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import DAY_S, Key, Problem, Shift, Visit, Window
from servicedesk.core.rounds.rules import holds, judge, judge_round

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


def _with(problem: Problem, other: Mapping[str, Visit]) -> Problem:
    return (
        replace(problem, visits=tuple(other.get(visit.id, visit) for visit in problem.visits))
        if other
        else problem
    )


def _no_sooner(visit: Visit, day: int, start: int) -> Visit:
    """The same visit, begun on that day no sooner than it was said."""
    windows = tuple(
        replace(w, earliest=max(w.earliest, start)) if w.day == day else w
        for w in visit.windows
        if w.day != day or w.latest >= start
    )
    return replace(visit, windows=windows)


def as_it_stands(
    problem: Problem, orders: Orders, said: Mapping[str, int]
) -> tuple[Problem, dict[Key, tuple[str, ...]]]:
    """The problem with shifts that bear the rounds in force at the times that were `said` (seconds since midnight), and what gave way
    for each: lunch, load, shift. Whoever put a round together by hand is believed, so that mending does not take apart what did
    not break."""
    shifts, gave = [], dict[Key, tuple[str, ...]]()
    for shift in problem.shifts:
        order = orders.get(shift.key, ())
        held = {n: _no_sooner(problem.visit[n], shift.day, said[n]) for n in order if n in said}
        found = _bearing(_with(problem, held), shift, order)
        shifts.append(found[0])
        if found[1]:
            gave[shift.key] = found[1]
    return replace(problem, shifts=tuple(shifts)), gave


def _bearing(problem: Problem, shift: Shift, order: tuple[str, ...]) -> tuple[Shift, tuple[str, ...]]:
    """A shift on which these visits hold, changed as little as does, and what was changed; the shift itself where none is."""
    for count in range(4):
        for codes in combinations(("load", "lunch", "shift"), count):
            other = _without(shift, codes)
            faults, times = judge_round(problem, other, order) if order else ([], None)
            if not faults and times is not None and "shift" in codes:
                latest = max(shift.latest, times.back)
                longer = max(shift.overtime, latest - shift.earliest - (other.paid or 0))
                other = replace(other, latest=latest, overtime=longer)
            if not faults:
                return other, codes
    return shift, ()


def _without(shift: Shift, codes: tuple[str, ...]) -> Shift:
    """A shift on which these rules do not count."""
    if "load" in codes:
        shift = replace(shift, van=(), refill=None)
    if "lunch" in codes:
        spare = shift.lunch.seconds if shift.lunch else 0
        shift = replace(shift, lunch=None, paid=None if shift.paid is None else shift.paid + spare)
    if "shift" in codes:
        shift = replace(shift, latest=DAY_S - 1, overtime=DAY_S)
    return shift


def gentle_change(problem: Problem, before: Plan, said: Mapping[str, int]) -> Plan:
    """The smallest change, in which nobody who keeps their technician is come to sooner than was said (seconds since midnight);
    those for whom no later time is found may come sooner, before they find no place at all. Visits are put in where they move
    others least: by the way, and a price on every change."""
    orders, asked = before.orders, _priced(problem, before)
    at = {
        name: key for key, order in orders.items() if key in problem.shift for name in order if name in said
    }
    held = {n: _no_sooner(asked.visit[n], at[n][1], said[n]) for n in at if n in problem.visit}
    plan = smallest_change(_with(asked, held), orders)
    lost = [name for name in held if name in plan.missing]
    if lost:
        looser = _with(asked, {n: visit for n, visit in held.items() if n not in lost})
        plan = judge(looser, mended(looser, plan.orders))[0]
    return timed_as_said(problem, plan.orders, orders, said)


def timed_as_said(problem: Problem, orders: Orders, before: Orders, said: Mapping[str, int]) -> Plan:
    """Orders with their times, where those who keep their technician are come to when it was said, or as soon after it as can be, as
    far as their round holds so; the others as suits the round."""
    kept: dict[str, Visit] = {}
    for key, order in orders.items():
        stay = [name for name in order if name in said and name in before.get(key, ())]
        kept |= _pinned(problem, problem.shift[key], order, {name: said[name] for name in stay})
    return judge(_with(problem, kept), orders)[0]


def _pinned(
    problem: Problem, shift: Shift, order: tuple[str, ...], said: Mapping[str, int]
) -> dict[str, Visit]:
    """Visits of one round held to the times that were said, or to the next that can be, in the order of the round."""
    small = replace(problem, visits=tuple(problem.visit[name] for name in order if name != REFILL))
    held: dict[str, Visit] = {}

    def hold(name: str, visit: Visit) -> None:
        if holds(_with(small, {**held, name: visit}), shift, order):
            held[name] = visit

    for name in said:
        hold(name, _no_sooner(small.visit[name], shift.day, said[name]))
    for number, name in enumerate(order):
        if name in held:
            times = judge_round(_with(small, held), shift, order[: number + 1])[1]
            if times is not None:
                at, windows = times.starts[number], small.visit[name].windows
                price = min(w.price for w in windows if w.day == shift.day and w.earliest <= at <= w.latest)
                hold(name, replace(held[name], windows=(Window(shift.day, at, at, price),)))
    return held


def offer(
    kind: str,
    problem: Problem,
    before: Plan,
    budget: Budget,
    *,
    said: Mapping[str, int] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Offer:
    """One kind of offer; the budget holds for the search, if there is one. `said` are the starts that were told to those who wait,
    in seconds since midnight: where given, nobody is come to sooner without need. Raises NotPlanned."""
    first = gentle_change(problem, before, said or {})
    if kind == SMALLEST:
        return _offer(kind, problem, before, first)
    asked = _priced(problem, before) if kind == PRICED else problem
    found = plan_rounds(asked, budget, start=first.orders, cancelled=cancelled)
    return _offer(kind, problem, before, timed_as_said(problem, found.plan.orders, before.orders, said or {}))


def _offer(kind: str, problem: Problem, before: Plan, plan: Plan) -> Offer:
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
    made = []
    for kind in (SMALLEST, PRICED, FREE):
        made.append(offer(kind, problem, before, budget, cancelled=cancelled))
        if told is not None:
            told(made[-1])
    return made
