"""The product's own judge of rounds: every hard rule, what a round costs, and a whole plan with its times.

Whatever found an order of visits, it is judged here before it counts as a plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from servicedesk.core.rounds.plan import REFILL, Orders, Plan, Round, Stop
from servicedesk.core.rounds.problem import Problem, Shift, Visit
from servicedesk.core.rounds.timing import Step, Stuck, Times, lunch_of, time_round


@dataclass(frozen=True)
class Fault:
    """A rule that a round breaks. `code`: skill, technician, day, window, shift, paid, lunch, load, level, stops, no_way,
    refill, unknown, twice, missing, pattern, pair. `amount`: seconds or units too much, where that has a meaning."""

    code: str
    technician: str = ""
    day: int = -1
    visit: str = ""
    amount: int = 0


def fits(visit: Visit, shift: Shift) -> str | None:
    """What keeps a visit from this shift whatever else is on it: skill, technician or day; None where nothing does."""
    if not visit.skills <= shift.skills:
        return "skill"
    if visit.technicians is not None and shift.technician not in visit.technicians:
        return "technician"
    return None if shift.day in visit.days else "day"


def _places(problem: Problem, shift: Shift, order: Sequence[str]) -> list[int]:
    """Start, stops, end."""
    store = shift.refill.place if shift.refill else shift.end
    inner = [store if v == REFILL else problem.visit[v].place for v in order]
    return [shift.start, *inner, shift.end]


def _steps(problem: Problem, shift: Shift, order: Sequence[str]) -> tuple[list[Step], int]:
    rows, places = problem.travel.rows, _places(problem, shift, order)
    legs = [rows[a][b] for a, b in zip(places, places[1:], strict=False)]
    steps = []
    for leg, name in zip(legs, order, strict=False):
        if name == REFILL:
            filled = shift.refill.seconds if shift.refill else 0
            steps.append(Step(leg, ((0, shift.latest, 0),), filled))
            continue
        visit = problem.visit[name]
        options = tuple((w.earliest, w.latest, w.price) for w in visit.windows if w.day == shift.day)
        steps.append(Step(leg, options, visit.seconds))
    return steps, legs[-1]


def loads(problem: Problem, shift: Shift, order: Sequence[str]) -> list[list[int]]:
    """What each trip takes out of the van, by dimension: one trip, and one more after each refill."""
    trips = [[0] * len(shift.van)]
    for name in order:
        if name == REFILL:
            trips.append([0] * len(shift.van))
            continue
        for dimension, amount in enumerate(problem.visit[name].loads[: len(shift.van)]):
            trips[-1][dimension] += amount
    return trips


def _order_faults(problem: Problem, shift: Shift, order: Sequence[str]) -> Iterator[Fault]:
    """What is wrong whatever the clock says."""
    fault = partial(Fault, technician=shift.technician, day=shift.day)
    before: Visit | None = None
    for name in order:
        if name == REFILL:
            continue
        visit = problem.visit[name]
        wrong = fits(visit, shift)
        if wrong:
            yield fault(wrong, visit=name)
        if before and before.level > visit.level and not before.disinfects:
            yield fault("level", visit=name, amount=before.level - visit.level)
        before = visit
    most = max((over for over in _overloads(problem, shift, order)), default=0)
    if most > 0:
        yield fault("load", amount=most)
    refills, work = order.count(REFILL), sum(name != REFILL for name in order)
    if refills > (shift.refill.most if shift.refill else 0):
        yield fault("refill", amount=refills)
    if shift.most_stops is not None and work > shift.most_stops:
        yield fault("stops", amount=work - shift.most_stops)
    places = _places(problem, shift, order)
    if not all(problem.travel.joined(a, b) for a, b in zip(places, places[1:], strict=False)):
        yield fault("no_way")


def _overloads(problem: Problem, shift: Shift, order: Sequence[str]) -> Iterator[int]:
    for trip in loads(problem, shift, order):
        yield from (load - room for load, room in zip(trip, shift.van, strict=True))


def judge_round(problem: Problem, shift: Shift, order: Sequence[str]) -> tuple[list[Fault], Times | None]:
    """What a round breaks, and its times where it can be driven. `order` is tuple or list of visits and REFILL."""
    order = list(order)
    faults = list(_order_faults(problem, shift, order))
    steps, last = _steps(problem, shift, order)
    if any(fault.code == "no_way" for fault in faults) or not all(step.options for step in steps):
        return faults, None
    times = time_round(shift, steps, last)
    if isinstance(times, Times):
        return faults, times
    visit = order[times.stop] if times.stop < len(order) else ""
    return [*faults, Fault(times.code, shift.technician, shift.day, visit, times.seconds)], None


def holds(problem: Problem, shift: Shift, order: Sequence[str]) -> bool:
    """Whether a round breaks nothing."""
    order = list(order)
    if any(True for _fault in _order_faults(problem, shift, order)):
        return False
    return isinstance(time_round(shift, *_steps(problem, shift, order)), Times)


def round_cost(problem: Problem, shift: Shift, order: Sequence[str]) -> int | None:
    """What a round costs, in the unit of prices; None where it breaks a rule."""
    if not order:
        return 0
    faults, times = judge_round(problem, shift, order)
    return None if faults or times is None else _cost(problem, shift, order, times)


def _cost(problem: Problem, shift: Shift, order: Sequence[str], times: Times) -> int:
    costs, places = problem.travel.costs, _places(problem, shift, order)
    travel = sum(costs[a][b] for a, b in zip(places, places[1:], strict=False))
    people = sum(
        visit.change_price
        for visit in (problem.visit[name] for name in order if name != REFILL)
        if visit.usual is not None and visit.usual != shift.technician
    )
    return travel + people + times.price + times.overtime * shift.overtime_price + shift.fixed_price


def _stops(
    problem: Problem, shift: Shift, order: Sequence[str], times: Times
) -> tuple[tuple[Stop, ...], int | None]:
    """Stops with their times, and when lunch begins (None: none on the way)."""
    lunch, steps, last = lunch_of(shift), *_steps(problem, shift, order)
    places, now, stops, eaten = _places(problem, shift, order), times.leave, [], None
    for number, step in enumerate([*steps, Step(last, (), 0)]):
        arrive, eats, pause = now + step.leg, None, 0
        if lunch is not None and times.gap == number:
            arrive, pause = times.begin + step.leg, lunch.seconds
            eats = eaten = arrive if arrive <= lunch.latest else max(times.begin, lunch.earliest)
            if arrive > lunch.latest:
                arrive, pause = arrive + lunch.seconds, 0
        if number < len(order):
            start = times.starts[number]
            stops.append(
                Stop(
                    order[number], places[number + 1], step.leg, arrive, start, start + step.seconds, start - arrive - pause,
                    times.slacks[number], eats, _cleaned(problem, order[number:]),
                )
            )  # fmt: skip
            now = start + step.seconds
    return tuple(stops), eaten


def _cleaned(problem: Problem, order: Sequence[str]) -> bool:
    """Whether the kit is disinfected after the first of these, since a lower level follows."""
    here, after = problem.visit.get(order[0]), (problem.visit[n] for n in order[1:] if n != REFILL)
    following = next(after, None)
    return bool(here and following and here.disinfects and following.level < here.level)


def timed_round(problem: Problem, shift: Shift, order: Sequence[str], times: Times) -> Round:
    """A round with everything that is said about it."""
    stops, lunch = _stops(problem, shift, order, times)
    places, lengths = _places(problem, shift, order), problem.travel.lengths
    pairs = list(zip(places, places[1:], strict=False))
    travel = sum(problem.travel.rows[a][b] for a, b in pairs)
    metres = None if lengths is None else sum(lengths[a][b] for a, b in pairs)
    cost = _cost(problem, shift, order, times)
    return Round(
        shift.technician, shift.day, times.leave, times.back, stops, travel, lunch, times.away, times.overtime, cost, metres
    )  # fmt: skip


def _across(problem: Problem, plan: Plan) -> Iterator[Fault]:
    """Rules between rounds: each visit once, patterns, pairs. A visit that may be left out is no fault."""
    seen: dict[str, tuple[Round, Stop]] = {}
    for round_ in plan.rounds:
        for stop in round_.stops:
            if stop.visit in seen:
                yield Fault("twice", round_.technician, round_.day, stop.visit)
            if stop.visit != REFILL:
                seen[stop.visit] = (round_, stop)
    for visit in problem.visits:
        if visit.id not in seen and visit.skip_price is None:
            yield Fault("missing", visit=visit.id)
    day = {name: found[0].day for name, found in seen.items()}
    yield from (Fault("pattern", visit=tie.visits[0]) for tie in problem.ties if not tie.allows(day))
    for pair in problem.pairs:
        two = [seen[v] for v in (pair.first, pair.second) if v in seen]
        together = len(two) == 2 and (two[0][0].day, two[0][1].start) == (two[1][0].day, two[1][1].start)
        if two and not (together and two[0][0].technician != two[1][0].technician):
            yield Fault("pair", visit=pair.first)


def _tie_cost(problem: Problem, plan: Plan) -> int:
    total, where = 0, plan.where
    for tie in problem.ties:
        days = tuple(where[v][0].day for v in tie.visits if v in where)
        total += tie.price(tie.patterns.index(days)) if days in tie.patterns else 0
    return total


def judge(problem: Problem, orders: Orders) -> tuple[Plan, list[Fault]]:
    """The plan that these orders make, with times and cost, and every rule it breaks. Rounds that cannot be driven are left
    out of the plan, so that their visits are missing from it."""
    rounds, faults, strangers = [], [], [key for key in orders if key not in problem.shift]
    faults += [Fault("unknown", *key) for key in strangers]
    for shift in problem.shifts:
        order = [name for name in orders.get(shift.key, ()) if name == REFILL or name in problem.visit]
        if not any(name != REFILL for name in order):
            continue
        wrong, times = judge_round(problem, shift, order)
        faults += wrong
        if times is not None:
            rounds.append(timed_round(problem, shift, order, times))
    held = Plan(tuple(rounds), (), 0, 0, 0)
    faults += _across(problem, held)
    missing = tuple(visit.id for visit in problem.visits if visit.id not in held.where)
    skipped = sum(problem.visit[name].skip_price or 0 for name in missing)
    metres = [round_.metres for round_ in rounds]
    whole = Plan(
        tuple(rounds),
        missing,
        sum(round_.cost for round_ in rounds) + skipped + _tie_cost(problem, held),
        sum(round_.travel for round_ in rounds),
        sum(round_.overtime for round_ in rounds),
        sum(m or 0 for m in metres) if problem.travel.metres is not None else None,
        tuple(fault.code for fault in faults),
    )
    return whole, faults


__all__ = ["Fault", "Stuck", "fits", "holds", "judge", "judge_round", "loads", "round_cost", "timed_round"]
