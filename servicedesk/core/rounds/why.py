"""Why a visit finds no room, and the cheapest ways out; and proof by counting that a week cannot work. Codes and numbers, and the
sentence they make."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from servicedesk.core.rounds.insertion import insertions, with_visit
from servicedesk.core.rounds.plan import REFILL, Orders
from servicedesk.core.rounds.problem import Key, Problem, Shift, Visit
from servicedesk.core.rounds.rules import Fault, fits, judge_round, round_cost

OVERTIME_S = 1200
MOST_WAYS = 3


@dataclass(frozen=True)
class Way:
    """A way out. `code`: day, overtime, technician, move. `price` is the extra cost it brings, in the unit of prices."""

    code: str
    price: int
    technician: str
    day: int
    other: str
    sentence: str


@dataclass(frozen=True)
class Why:
    """The rule that keeps a visit out. `code`: windows, skill, technician, day, no_way, too_far, load, full; or room, where
    nothing does."""

    visit: str
    code: str
    sentence: str
    ways: tuple[Way, ...]


def _day(day: int, names: Sequence[str]) -> str:
    return names[day] if day < len(names) else f"day {day + 1}"


def _days(days: Sequence[int], names: Sequence[str]) -> str:
    words = [_day(day, names) for day in days]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _able(problem: Problem, visit: Visit) -> tuple[list[Shift], str, str]:
    """Shifts that may take it; where there are none, the code and what is lacking."""
    if not visit.windows:
        return (
            [],
            "windows",
            "it has no time at which it may begin: no day is open, or the access is shorter than the work",
        )
    skilled = [shift for shift in problem.shifts if visit.skills <= shift.skills]
    if not skilled:
        return (
            [],
            "skill",
            f"nobody who works has {' and '.join(sorted(visit.skills))}" if visit.skills else "nobody works",
        )
    held = [s for s in skilled if visit.technicians is None or s.technician in visit.technicians]
    if not held:
        return (
            [],
            "technician",
            f"it is held to {' or '.join(sorted(visit.technicians or ()))}, who does not work or lacks the skill",
        )
    open_ = [shift for shift in held if shift.day in visit.days]
    if not open_:
        return [], "day", "nobody who may do it works on a day that it allows"
    return open_, "", ""


def _alone(problem: Problem, visit: Visit, shifts: Sequence[Shift]) -> tuple[str, str]:
    """What keeps a visit from every one of these shifts even with nothing else on them; empty where one would take it."""
    faults: list[Fault] = []
    for shift in shifts:
        found = judge_round(problem, shift, [visit.id])[0]
        if not found:
            return "", ""
        faults += found
    codes = {fault.code for fault in faults}
    if "no_way" in codes:
        return "no_way", f"there is no way to or from {problem.name(visit.place)}"
    if "load" in codes:
        least = min(fault.amount for fault in faults if fault.code == "load")
        return "load", f"it needs {least} more than the largest van holds"
    least = min(fault.amount for fault in faults)
    return (
        "too_far",
        f"the way there, the work and the way home do not fit one shift: {_minutes(least)} are lacking",
    )


def _minutes(seconds: int) -> str:
    return f"{-(-seconds // 60)} minutes"


def why(problem: Problem, orders: Orders, visit_id: str, *, day_names: Sequence[str] = ()) -> Why:
    """Which rule stops a visit that is not in these orders, and up to three ways out, the cheapest first."""
    visit = problem.visit[visit_id]
    able, code, reason = _able(problem, visit)
    if able:
        code, reason = _alone(problem, visit, able)
    room = insertions(problem, orders, visit) if not code else []
    if room:
        code = "room"
        reason = f"there is room: {room[0].key[0]} on {_day(room[0].key[1], day_names)}, as stop {room[0].position + 1}"
    elif not code:
        days = _days(sorted(visit.days & {shift.day for shift in able}), day_names)
        code, reason = "full", f"all who may do it are full on {days}"
    sentence = f"{reason[0].upper()}{reason[1:]}."
    ways = sorted(
        _ways(problem, orders, visit, able, day_names), key=lambda way: (way.price, way.code, way.day)
    )
    return Why(visit_id, code, sentence, tuple(ways[:MOST_WAYS]))


def _ways(
    problem: Problem, orders: Orders, visit: Visit, able: Sequence[Shift], names: Sequence[str]
) -> Iterator[Way]:
    yield from _another_day(problem, orders, visit, names)
    yield from _overtime(problem, orders, visit, names)
    yield from _another_technician(problem, orders, visit, names)
    yield from _another_visit(problem, orders, visit, able, names)


def _another_day(problem: Problem, orders: Orders, visit: Visit, names: Sequence[str]) -> Iterator[Way]:
    """One more day of tolerance, before or after."""
    for day in sorted({d + step for d in visit.days for step in (-1, 1)} - visit.days):
        if day not in problem.days:
            continue
        near = [w for w in visit.windows if abs(w.day - day) == 1]
        wider = replace(visit, windows=(*visit.windows, *(replace(w, day=day) for w in near)))
        asked = _with(problem, wider)
        keys = [shift.key for shift in problem.shifts if shift.day == day]
        for place in insertions(asked, orders, wider, keys=keys):
            sentence = f"Allow {_day(day, names)}: {place.key[0]} has room then."
            yield Way("day", place.cost, place.key[0], day, "", sentence)


def _overtime(problem: Problem, orders: Orders, visit: Visit, names: Sequence[str]) -> Iterator[Way]:
    """Twenty minutes more for one technician on one day."""
    shifts = tuple(
        replace(shift, overtime=shift.overtime + OVERTIME_S, latest=shift.latest + OVERTIME_S)
        for shift in problem.shifts
    )
    for place in insertions(replace(problem, shifts=shifts), orders, visit):
        sentence = (
            f"{OVERTIME_S // 60} minutes of overtime for {place.key[0]} on {_day(place.key[1], names)}."
        )
        yield Way("overtime", place.cost, *place.key, "", sentence)


def _another_technician(
    problem: Problem, orders: Orders, visit: Visit, names: Sequence[str]
) -> Iterator[Way]:
    """Somebody who lacks the skill, or whom it is not held to."""
    anybody = replace(visit, skills=frozenset(), technicians=None)
    asked = _with(problem, anybody)
    keys = [shift.key for shift in problem.shifts if fits(visit, shift) in ("skill", "technician")]
    for place in insertions(asked, orders, anybody, keys=keys):
        lacking = sorted(visit.skills - problem.shift[place.key].skills)
        what = f", who has no {' and '.join(lacking)}" if lacking else ""
        sentence = f"Give it to {place.key[0]}{what}, on {_day(place.key[1], names)}."
        yield Way("technician", place.cost, *place.key, "", sentence)


def _another_visit(
    problem: Problem, orders: Orders, visit: Visit, able: Sequence[Shift], names: Sequence[str]
) -> Iterator[Way]:
    """Another visit goes elsewhere so that this one fits: the cheapest such exchange."""
    best: Way | None = None
    for shift in able:
        order = tuple(orders.get(shift.key, ()))
        for position, name in enumerate(order):
            if name == REFILL or name in problem.tied:
                continue
            rest = (*order[:position], *order[position + 1 :])
            way = _exchange(problem, orders, visit, shift, name, rest, names)
            if way is not None and (best is None or way.price < best.price):
                best = way
    if best is not None:
        yield best


def _exchange(
    problem: Problem,
    orders: Orders,
    visit: Visit,
    shift: Shift,
    name: str,
    rest: tuple[str, ...],
    names: Sequence[str],
) -> Way | None:
    """The other visit out, this one in, the other one elsewhere."""
    without = {**orders, shift.key: rest}
    here = insertions(problem, without, visit, keys=[shift.key])
    if not here:
        return None
    filled = {**without, shift.key: with_visit(rest, here[0].position, visit.id)}
    there = insertions(problem, filled, problem.visit[name])
    before, now = round_cost(problem, shift, tuple(orders[shift.key])), round_cost(problem, shift, rest)
    if not there or before is None or now is None:
        return None
    key = there[0].key
    sentence = f"Move {name} to {key[0]} on {_day(key[1], names)}."
    return Way("move", here[0].cost + there[0].cost + now - before, *key, name, sentence)


def _with(problem: Problem, visit: Visit) -> Problem:
    return replace(problem, visits=tuple(visit if v.id == visit.id else v for v in problem.visits))


@dataclass(frozen=True)
class Proof:
    """A count that cannot come out: `needed` and `there` are seconds, units of load or stops, for visits that can only be done
    in these shifts. `code`: hours, load, stops."""

    code: str
    needed: int
    there: int
    visits: tuple[str, ...]
    sentence: str


def proofs(problem: Problem, *, day_names: Sequence[str] = ()) -> list[Proof]:
    """Counts that show that not everything can be done, however it is planned; empty where counting shows nothing, which proves
    nothing. Each visit counts its work and the shortest way to it; each shift its longest hours."""
    found = [
        proof for name, shifts in _groups(problem, day_names) for proof in _counts(problem, name, shifts)
    ]
    found.sort(key=lambda proof: len(proof.visits))
    kept: list[Proof] = []
    for proof in found:
        if not any(set(other.visits) <= set(proof.visits) and other.code == proof.code for other in kept):
            kept.append(proof)
    return kept


def _groups(problem: Problem, names: Sequence[str]) -> Iterator[tuple[str, set[Key]]]:
    """Groups of shifts to count in: spans of days, for everybody, for each skill, for each technician."""
    days = problem.days
    spans = [days[a:b] for a in range(len(days)) for b in range(a + 1, len(days) + 1)]
    skills = sorted({skill for visit in problem.visits for skill in visit.skills})
    technicians = sorted({t for visit in problem.visits for t in visit.technicians or ()})
    for span in spans:
        inside = [shift for shift in problem.shifts if shift.day in span]
        when = "in all days" if span == days else f"on {_days(span, names)}"
        yield f"that can only be done {when}", {s.key for s in inside}
        for skill in skills:
            able = {s.key for s in inside if skill in s.skills}
            yield f"that need {skill} and can only be done {when}", able
        for technician in technicians:
            yield f"held to {technician} {when}", {s.key for s in inside if s.technician == technician}


def _counts(problem: Problem, name: str, shifts: set[Key]) -> Iterator[Proof]:
    must = [
        visit
        for visit in problem.visits
        if visit.skip_price is None and {s.key for s in problem.shifts if fits(visit, s) is None} <= shifts
    ]
    inside = [problem.shift[key] for key in sorted(shifts)]
    if not must:
        return
    ids = tuple(visit.id for visit in must)
    needed = sum(visit.seconds + _least_way(problem, visit) for visit in must)
    there = sum(_hours(shift) for shift in inside)
    if needed > there:
        sentence = f"Visits {name} take {needed / 3600:.1f} hours with the shortest way to each; there are {there / 3600:.1f}."
        yield Proof("hours", needed, there, ids, sentence)
    for dimension in range(len(problem.shifts[0].van)):
        needed = sum(v.loads[dimension] for v in must if dimension < len(v.loads))
        there = sum(s.van[dimension] * (1 + (s.refill.most if s.refill else 0)) for s in inside)
        if needed > there:
            what = problem.dimensions[dimension] if dimension < len(problem.dimensions) else "load"
            yield Proof(
                "load", needed, there, ids, f"Visits {name} need {needed} of {what}; the vans hold {there}."
            )
    most = [shift.most_stops for shift in inside]
    stops = sum(m for m in most if m is not None)
    if None not in most and len(must) > stops:
        yield Proof(
            "stops", len(must), stops, ids, f"{len(must)} visits {name}; at most {stops} stops are allowed."
        )


def _least_way(problem: Problem, visit: Visit) -> int:
    """Seconds of the shortest way to a visit from wherever one can come."""
    others = {v.place for v in problem.visits if v.id != visit.id} | {s.start for s in problem.shifts}
    return min(problem.travel.rows[place][visit.place] for place in others)


def _hours(shift: Shift) -> int:
    away = shift.latest - shift.earliest
    return away if shift.paid is None else min(away, shift.paid + shift.overtime)


__all__ = ["Proof", "Way", "Why", "proofs", "why"]
