"""Putting single visits into rounds that stay as they are, and taking broken rounds apart until what is left holds."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from servicedesk.core.rounds.plan import REFILL, Orders
from servicedesk.core.rounds.problem import Key, Problem, Shift, Visit
from servicedesk.core.rounds.rules import fits, holds, round_cost


@dataclass(frozen=True, order=True)
class Place:
    """Where a visit can be put in, and what that costs (in the unit of prices; may be less than nought)."""

    cost: int
    key: Key
    position: int


def with_visit(order: tuple[str, ...], position: int, visit: str) -> tuple[str, ...]:
    return (*order[:position], visit, *order[position:])


def detours(
    problem: Problem, shift: Shift, order: tuple[str, ...], visit: Visit
) -> Iterator[tuple[int, int]]:
    """Extra cost of the way and position, for each position."""
    costs = problem.travel.costs
    store = shift.refill.place if shift.refill else shift.end
    inner = [store if name == REFILL else problem.visit[name].place for name in order]
    places, here = [shift.start, *inner, shift.end], visit.place
    for position, (a, b) in enumerate(zip(places, places[1:], strict=False)):
        without = costs[a][b] if order else 0
        yield costs[a][here] + costs[here][b] - without, position


def insertions(
    problem: Problem, orders: Orders, visit: Visit, *, most: int = 1, keys: Iterable[Key] | None = None
) -> list[Place]:
    """The cheapest places for a visit that break nothing, keeping every order as it is, the cheapest first. The way's extra
    cost never exceeds the whole extra cost by more than what overtime might save, so candidates are tried in its order."""
    candidates = []
    for key in keys if keys is not None else (shift.key for shift in problem.shifts):
        shift = problem.shift[key]
        if fits(visit, shift) is None:
            order = orders.get(key, ())
            candidates += [(d, key, p) for d, p in detours(problem, shift, order, visit)]
    heapq.heapify(candidates)
    before: dict[Key, int | None] = {}
    found: list[Place] = []
    while candidates:
        way, key, position = heapq.heappop(candidates)
        if len(found) >= most and way >= found[-1].cost:
            break
        shift, order = problem.shift[key], orders.get(key, ())
        if key not in before:
            before[key] = round_cost(problem, shift, order)
        after = round_cost(problem, shift, with_visit(order, position, visit.id))
        was = before[key]
        if after is not None and was is not None:
            found = sorted([*found, Place(after - was, key, position)])[:most]
    return found


def shortened(problem: Problem, shift: Shift, order: tuple[str, ...]) -> tuple[tuple[str, ...], list[str]]:
    """A round without as many visits as it takes for the rest to hold, and the visits taken out: first those that may not be
    here at all, then one by one with whose leaving the rest holds or is shortest; what a person locked goes last."""
    allowed = [n for n in order if n == REFILL or fits(problem.visit[n], shift) is None]
    out = [name for name in order if name not in allowed]
    while allowed and not holds(problem, shift, allowed):
        worths = []
        for position, name in enumerate(allowed):
            rest = (*allowed[:position], *allowed[position + 1 :])
            held = name != REFILL and problem.visit[name].held
            worths.append((held, not holds(problem, shift, rest), _way(problem, shift, rest), position))
        position = min(worths)[-1]
        out += [allowed[position]] if allowed[position] != REFILL else []
        del allowed[position]
    return tuple(allowed) if any(name != REFILL for name in allowed) else (), out


def _way(problem: Problem, shift: Shift, order: tuple[str, ...]) -> int:
    store = shift.refill.place if shift.refill else shift.end
    inner = [store if name == REFILL else problem.visit[name].place for name in order]
    places = [shift.start, *inner, shift.end]
    return sum(problem.travel.costs[a][b] for a, b in zip(places, places[1:], strict=False))


def mended(problem: Problem, orders: Orders, *, tries: int = 200) -> dict[Key, tuple[str, ...]]:
    """Orders that break nothing: of broken rounds as much as holds, then what is missing at its cheapest place, as far as there
    is one; at most so many visits are tried. Tied and paired visits that stand alone are taken out by the caller."""
    whole: dict[Key, tuple[str, ...]] = {}
    seen: set[str] = set()
    for shift in problem.shifts:
        order = tuple(
            n for n in orders.get(shift.key, ()) if n == REFILL or (n in problem.visit and n not in seen)
        )
        whole[shift.key] = shortened(problem, shift, order)[0]
        seen |= set(whole[shift.key])
    missing = [visit for visit in problem.visits if visit.id not in seen and visit.id not in problem.tied]
    missing.sort(key=lambda visit: not visit.held)
    for visit in missing[:tries]:
        put_in(problem, whole, visit)
    return {key: order for key, order in whole.items() if order}


def put_in(problem: Problem, orders: dict[Key, tuple[str, ...]], visit: Visit) -> bool:
    """Puts a visit at its cheapest place, changing `orders`; False where there is none, or leaving it out is cheaper."""
    best = insertions(problem, orders, visit)
    if not best or (visit.skip_price is not None and best[0].cost >= visit.skip_price):
        return False
    orders[best[0].key] = with_visit(tuple(orders.get(best[0].key, ())), best[0].position, visit.id)
    return True
