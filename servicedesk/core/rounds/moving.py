"""A person puts a visit where they want it: the round is timed as it was told, and every rule that this breaks is named.

The person is believed. A rule that stands in the way of the clock is let go, one after the other, until the round has times; what
was let go is what is broken."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from servicedesk.core.rounds.insertion import with_visit
from servicedesk.core.rounds.plan import REFILL, Round
from servicedesk.core.rounds.problem import DAY_S, NotPlanned, Problem, Shift, Visit, Window, locked
from servicedesk.core.rounds.rules import Fault, judge_round, timed_round

Order = tuple[str, ...]
NEVER_S = 2 * DAY_S
"""So late that no round of a day reaches it."""
LET_GO = 1_000_000
"""What a time outside every window costs: more than any other choice, so that it is the last one."""


@dataclass(frozen=True)
class Believed:
    """A round with its times, and what it breaks. Where a rule of the clock is broken no stop has anything to spare."""

    round: Round
    faults: tuple[Fault, ...]


def believed(problem: Problem, shift: Shift, order: Order) -> Believed:
    """The times of a round whatever it breaks, without a visit more or less. Raises NotPlanned where it has none before midnight."""
    faults = _also(problem, shift, order)
    problem, stood = _with_day(problem, shift, order), set[tuple[str, str]]()
    while True:
        found, times = judge_round(problem, shift, order)
        faults += [fault for fault in found if fault not in faults]
        if times is not None:
            break
        if any(fault.code == "no_way" for fault in found):
            raise NotPlanned("There is no way between two of its places.")
        rule = (found[-1].code, found[-1].visit)
        if rule in stood:
            raise NotPlanned("That round would not end before midnight.")
        stood.add(rule)
        problem, shift = _let_go(problem, shift, found[-1])
    if times.back >= DAY_S:
        raise NotPlanned("That round would not end before midnight.")
    timed = timed_round(problem, shift, order, times)
    if any(fault.code in ("window", "shift", "paid", "lunch") for fault in faults):
        timed = replace(timed, stops=tuple(replace(stop, slack=0) for stop in timed.stops))
    return Believed(timed, tuple(faults))


def _also(problem: Problem, shift: Shift, order: Order) -> list[Fault]:
    """What single visits break on this shift: each rule, not only the first."""
    found = []
    for name in order:
        if name != REFILL:
            found += [Fault(code, shift.technician, shift.day, name) for code in _wrong(problem.visit[name], shift)]  # fmt: skip
    return found


def _wrong(visit: Visit, shift: Shift) -> Iterator[str]:
    if not visit.skills <= shift.skills:
        yield "skill"
    if visit.technicians is not None and shift.technician not in visit.technicians:
        yield "technician"
    if shift.day not in visit.days:
        yield "day"


def _changed(problem: Problem, changed: Mapping[str, Visit]) -> Problem:
    return replace(problem, visits=tuple(changed.get(visit.id, visit) for visit in problem.visits))


def _with_day(problem: Problem, shift: Shift, order: Order) -> Problem:
    """Visits that may not be made that day get the whole of it, so that they have a time."""
    strangers = [problem.visit[n] for n in order if n != REFILL and shift.day not in problem.visit[n].days]
    if not strangers:
        return problem
    whole = Window(shift.day, 0, NEVER_S, LET_GO)
    return _changed(problem, {v.id: replace(v, windows=(*v.windows, whole)) for v in strangers})


def _let_go(problem: Problem, shift: Shift, fault: Fault) -> tuple[Problem, Shift]:
    """Without the rule that stopped the clock."""
    if fault.code == "lunch":
        return problem, replace(shift, lunch=None)
    if fault.code == "window" and fault.visit in problem.visit:
        visit = problem.visit[fault.visit]
        last = max(window.latest for window in visit.windows if window.day == shift.day)
        later = Window(shift.day, last, NEVER_S, LET_GO)
        return _changed(problem, {visit.id: replace(visit, windows=(*visit.windows, later))}), shift
    return problem, replace(shift, latest=NEVER_S, overtime=NEVER_S)


def _worth(found: Believed) -> tuple[int, int, int]:
    """Rules broken, what the van takes too little of, cost."""
    over = sum(fault.amount for fault in found.faults if fault.code == "load")
    return len(found.faults), over, found.round.cost


def with_refills(problem: Problem, shift: Shift, order: Order) -> Believed:
    """The round with as many stops at the store as its loads ask for and may be, each where it breaks and costs least. Raises NotPlanned."""
    order = tuple(name for name in order if name != REFILL)
    best = believed(problem, shift, order)
    for _refill in range(shift.refill.most if shift.refill else 0):
        if not any(fault.code == "load" for fault in best.faults):
            break
        tried = []
        for position in range(1, len(order)):
            tried += _tried(problem, shift, with_visit(order, position, REFILL))
        better = min(tried, key=_worth, default=best)
        if _worth(better)[:2] >= _worth(best)[:2]:
            break
        best, order = better, tuple(stop.visit for stop in better.round.stops)
    return best


def _tried(problem: Problem, shift: Shift, order: Order) -> list[Believed]:
    try:
        return [believed(problem, shift, order)]
    except NotPlanned:
        return []


def best_order(problem: Problem, shift: Shift, order: Order, visit: str) -> Order:
    """The order with the visit where it breaks least, and of those where it costs least; the others stay as they stand."""
    ways = [with_visit(order, position, visit) for position in range(len(order) + 1)]
    tried = [(_worth(found), number) for number, way in enumerate(ways) for found in _tried(problem, shift, way)]  # fmt: skip
    return ways[min(tried)[1]] if tried else ways[-1]


def begun_together(problem: Problem, starts: Mapping[str, int]) -> Problem:
    """The problem in which these visits begin at these seconds of their day: the other part of a visit for two has that time."""
    held = {name: locked(problem.visit[name], start=at) for name, at in starts.items()}
    return _changed(problem, held) if held else problem


__all__ = ["Believed", "begun_together", "believed", "best_order", "with_refills"]
