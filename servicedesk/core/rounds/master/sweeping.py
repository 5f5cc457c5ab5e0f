"""Going through a technician's sites one by one: each is taken out and put back with the pattern that costs least, everything else as it
is, until no site wants another. Quick, and a good start for the search, which moves several at once."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping

from servicedesk.core.rounds.insertion import Place, insertions, with_visit
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import Key, Problem, Tie
from servicedesk.core.rounds.rules import round_cost

SWEEPS = 6
Found = dict[Key, tuple[str, ...]]


def swept(problem: Problem, start: Orders, seed: int, over: Callable[[], bool]) -> Found:
    """Orders that cost no more than `start`, patterns and prices counted in. Ties of which a visit stands nowhere are left alone."""
    orders: Found = {shift.key: tuple(start.get(shift.key, ())) for shift in problem.shifts}
    drawn, numbers = random.Random(seed), [n for n, tie in enumerate(problem.ties) if len(tie.patterns) > 1]
    for _sweep in range(SWEEPS):
        drawn.shuffle(numbers)
        changed = False
        for number in numbers:
            if over():
                return orders
            changed = _anew(problem, problem.ties[number], orders) or changed
        if not changed:
            break
    return orders


def _anew(problem: Problem, tie: Tie, orders: Found) -> bool:
    """Puts the visits of a tie where they cost least together; whether that was better."""
    where = {name: key for key, order in orders.items() for name in order if name in tie.visits}
    days = tuple(where[name][1] if name in where else -1 for name in tie.visits)
    if days not in tie.patterns:
        return False
    without = {key: tuple(n for n in orders[key] if n not in tie.visits) for key in where.values()}
    costs = {key: (round_cost(problem, problem.shift[key], order), round_cost(problem, problem.shift[key], orders[key])) for key, order in without.items()}  # fmt: skip
    if any(rest is None or now is None for rest, now in costs.values()):
        return False
    now = sum((now or 0) - (rest or 0) for rest, now in costs.values()) + tie.price(tie.patterns.index(days))
    bare = orders | without
    known: dict[int, Place | None] = {}
    best: tuple[float, int] = (now - 1.0, -1)
    for number, pattern in enumerate(tie.patterns):
        places = [
            _place(problem, bare, name, day, known) for name, day in zip(tie.visits, pattern, strict=True)
        ]
        cost = sum(place.cost for place in places if place is not None) + tie.price(number)
        if None not in places and cost < best[0]:
            best = (cost, number)
    if best[1] < 0:
        return False
    orders.update(without)
    for name, day in zip(tie.visits, tie.patterns[best[1]], strict=True):
        place = known[day]
        assert place is not None  # else the pattern were not chosen
        orders[place.key] = with_visit(orders[place.key], place.position, name)
    return True


def _place(
    problem: Problem,
    orders: Mapping[Key, tuple[str, ...]],
    name: str,
    day: int,
    known: dict[int, Place | None],
) -> Place | None:
    """The cheapest place on a day, asked once a day: the visits of a tie are alike."""
    if day not in known:
        keys = [shift.key for shift in problem.shifts if shift.day == day]
        found = insertions(problem, orders, problem.visit[name], keys=keys)
        known[day] = found[0] if found else None
    return known[day]
