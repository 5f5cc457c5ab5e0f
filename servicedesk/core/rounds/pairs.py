"""Visits for two: when a second person could be there at all."""

from __future__ import annotations

from dataclasses import replace

from servicedesk.core.rounds.problem import Problem, Visit, Window


def without_seconds(problem: Problem) -> Problem:
    """The problem without the second person's parts, each first one only when both could be there."""
    second = {pair.second for pair in problem.pairs}
    other = {pair.first: problem.visit[pair.second] for pair in problem.pairs}
    visits = (v for v in problem.visits if v.id not in second)
    narrowed = tuple(for_two(problem, v, other[v.id]) if v.id in other else v for v in visits)
    return replace(problem, visits=narrowed, pairs=())


def held_to(visit: Visit, day: int, start: int) -> Window:
    """A window of that moment alone, at the price of the visit's own that holds it."""
    prices = [w.price for w in visit.windows if w.day == day and w.earliest <= start <= w.latest]
    return Window(day, start, start, min(prices, default=0))


def for_two(problem: Problem, visit: Visit, second: Visit) -> Visit:
    """A visit whose windows are narrowed to the times at which two different technicians could begin it, each driving there first and home from it:
    one may do `visit`, another `second`. A day on which nobody second could come has no window."""
    kept = []
    for window in visit.windows:
        ways = [_reach(problem, visit, window, who) for who in (visit, second)]
        able = [
            (max(a[1], b[1]), min(a[2], b[2]))
            for a in ways[0]
            for b in ways[1]
            if a[0] != b[0] and max(a[1], b[1]) <= min(a[2], b[2])
        ]
        if able:
            kept.append(
                replace(
                    window,
                    earliest=min(first for first, _last in able),
                    latest=max(last for _first, last in able),
                )
            )
    return replace(visit, windows=tuple(kept))


def _reach(problem: Problem, visit: Visit, window: Window, who: Visit) -> list[tuple[str, int, int]]:
    """Technicians who may do `who` that day, with the first and last moment at which they could begin the visit alone on their shift."""
    rows, found = problem.travel.rows, []
    for shift in problem.shifts:
        if shift.day != window.day or not who.skills <= shift.skills:
            continue
        if who.technicians is not None and shift.technician not in who.technicians:
            continue
        first = max(window.earliest, shift.earliest + rows[shift.start][visit.place])
        last = min(window.latest, shift.latest - visit.seconds - rows[visit.place][shift.end])
        if first <= last:
            found.append((shift.technician, first, last))
    return found
