"""A second opinion on plans, written from the rules alone: it uses none of the planner's own reckoning, only the values of the
problem and the times the plan claims. `wrong(problem, plan)` says everything that is wrong; `published(text, days)` checks a
solution of a published instance from the instance's text."""

import math
from itertools import pairwise

REFILL = "+refill"


def wrong(problem, plan):
    """Everything that is wrong with a plan, in words; visits it says are missing are not wrong."""
    found, seen = [], {}
    visits = {visit.id: visit for visit in problem.visits}
    shifts = {(shift.technician, shift.day): shift for shift in problem.shifts}
    for ride in plan.rounds:
        key = (ride.technician, ride.day)
        if key not in shifts:
            found.append(f"{key} does not work")
            continue
        found += [f"{key}: {what}" for what in one_round(problem, visits, shifts[key], ride)]
        for stop in ride.stops:
            if stop.visit != REFILL:
                if stop.visit in seen:
                    found.append(f"{stop.visit} is done twice")
                seen[stop.visit] = (ride, stop)
    found += accounts(problem, visits, plan, seen)
    return [*found, *together(problem, seen)]


def accounts(problem, visits, plan, seen):
    """Each visit once, or said to be missing; costs as claimed."""
    for name in visits:
        if (name in seen) == (name in plan.missing):
            yield f"{name} is neither done once nor said to be missing, or both"
    total = sum(visits[name].skip_price or 0 for name in plan.missing)
    for name, (ride, stop) in seen.items():
        visit = visits[name]
        total += visit.change_price if visit.usual not in (None, ride.technician) else 0
        total += min(
            (w.price for w in visit.windows if w.day == ride.day and w.earliest <= stop.start <= w.latest),
            default=0,
        )
    shifts = {(shift.technician, shift.day): shift for shift in problem.shifts}
    for ride in plan.rounds:
        shift = shifts[ride.technician, ride.day]
        places = [shift.start, *(stop.place for stop in ride.stops), shift.end]
        costs = problem.travel.seconds if problem.travel.cost is None else problem.travel.cost
        total += (
            sum(int(costs[a][b]) for a, b in pairwise(places))
            + shift.fixed_price
            + ride.overtime * shift.overtime_price
        )
    for tie in problem.ties:
        days = tuple(seen[v][0].day for v in tie.visits if v in seen)
        total += tie.prices[tie.patterns.index(days)] if tie.prices and days in tie.patterns else 0
    if total != plan.cost:
        yield f"the plan costs {total}, not {plan.cost}"


def together(problem, seen):
    """Days that hang together, visits for two."""
    for tie in problem.ties:
        known = [(place, seen[v][0].day) for place, v in enumerate(tie.visits) if v in seen]
        if not any(all(pattern[place] == day for place, day in known) for pattern in tie.patterns):
            yield f"{tie.visits} are on {[day for _place, day in known]}"
    for pair in problem.pairs:
        there = [v for v in (pair.first, pair.second) if v in seen]
        if len(there) == 1:
            yield f"{there[0]} is alone"
        if len(there) == 2:
            (one, a), (two, b) = seen[pair.first], seen[pair.second]
            if (one.day, a.start) != (two.day, b.start) or one.technician == two.technician:
                yield f"{pair.first} and {pair.second} are not done by two at once"


def one_round(problem, visits, shift, ride):
    """What is wrong on one round: times that do not follow from one another, and every rule."""
    now, level, cleaned, here, eaten = ride.leave, 0, True, shift.start, []
    if ride.leave < shift.earliest or ride.back > shift.latest:
        yield "outside the shift"
    trip, refills, work = [0] * len(shift.van), 0, 0
    for stop in ride.stops:
        leg = int(problem.travel.seconds[here][stop.place])
        if leg >= 10_000_000:
            yield "no way"
        pause = shift.lunch.seconds if stop.lunch is not None else 0
        eaten += [stop.lunch] if stop.lunch is not None else []
        if stop.lunch is not None and not now <= stop.lunch <= stop.start - pause:
            yield f"lunch during work before {stop.visit}"
        if stop.start < now + leg + pause or stop.arrive < now + leg or stop.start < stop.arrive:
            yield f"{stop.visit} begins before one can be there"
        if stop.visit == REFILL:
            refills += 1
            trip = [0] * len(shift.van)
            if (
                shift.refill is None
                or stop.place != shift.refill.place
                or stop.end - stop.start < shift.refill.seconds
            ):
                yield "a refill that cannot be"
        else:
            visit, work = visits[stop.visit], work + 1
            yield from one_stop(visit, shift, stop)
            if visit.level < level and not cleaned:
                yield f"{stop.visit} comes after isolation"
            level, cleaned = visit.level, visit.disinfects
            for dimension, amount in enumerate(visit.loads):
                trip[dimension] += amount
            if any(a > b for a, b in zip(trip, shift.van, strict=True)):
                yield f"too much to carry at {stop.visit}"
        now, here = stop.end, stop.place
    yield from the_end(problem, shift, ride, now, here, eaten)
    if refills > (shift.refill.most if shift.refill else 0):
        yield "too many refills"
    if shift.most_stops is not None and work > shift.most_stops:
        yield "too many stops"


def one_stop(visit, shift, stop):
    if stop.end - stop.start != visit.seconds or stop.place != visit.place:
        yield f"{visit.id} is too short or elsewhere"
    if not any(w.day == shift.day and w.earliest <= stop.start <= w.latest for w in visit.windows):
        yield f"{visit.id} begins outside its windows"
    if not visit.skills <= shift.skills:
        yield f"{visit.id} needs a skill"
    if visit.technicians is not None and shift.technician not in visit.technicians:
        yield f"{visit.id} is held to somebody else"


def the_end(problem, shift, ride, now, here, eaten):
    """The way home, lunch and hours."""
    leg, lunch = int(problem.travel.seconds[here][shift.end]), shift.lunch
    at_end = ride.lunch is not None and not eaten
    eaten = [ride.lunch] if at_end else eaten
    pause = lunch.seconds if eaten else 0
    if ride.back < now + leg + (pause if at_end else 0):
        yield "home too soon"
    if at_end and not now <= ride.lunch <= ride.back - pause:
        yield "lunch during work"
    if len(eaten) > 1 or (eaten and eaten != [ride.lunch]):
        yield "more than one lunch"
    if any(not lunch.earliest <= at <= lunch.latest for at in eaten):
        yield "lunch at the wrong time"
    applies = (
        lunch is not None and shift.latest > lunch.latest and shift.earliest < lunch.earliest + lunch.seconds
    )
    if applies and not eaten and ride.back > lunch.latest and ride.leave < lunch.earliest + lunch.seconds:
        yield "no lunch"
    away = ride.back - ride.leave - pause
    over = 0 if shift.paid is None else max(0, away - shift.paid)
    if over > shift.overtime or over != ride.overtime:
        yield f"{over} s of overtime"


def _rows(text):
    for line in text.splitlines():
        try:
            yield [float(word) for word in line.split()]
        except ValueError:
            continue


def solomon_cost(text, days):
    """Distance in the convention of exact methods (times ten, truncated, by ten again), or the fault in words."""
    rows = [row for row in _rows(text) if row]
    (_many, room), nodes = next(r for r in rows if len(r) == 2), {int(r[0]): r for r in rows if len(r) == 7}
    served, total = [], 0

    def way(a, b):
        return math.floor(
            math.hypot(10 * (nodes[a][1] - nodes[b][1]), 10 * (nodes[a][2] - nodes[b][2])) + 1e-9
        )

    for route in days[0]:
        now, here, load = 10 * nodes[0][4], 0, 0
        for node in [*route, 0]:
            total += way(here, node)
            now = max(now + way(here, node), 10 * nodes[node][4])
            if now > 10 * nodes[node][5]:
                return f"{node} too late"
            now, here, load = now + 10 * nodes[node][6], node, load + nodes[node][3]
        if load > room:
            return "overloaded"
        served += route
    if sorted(served) != sorted(set(nodes) - {0}) or len(days) != 1 or len(days[0]) > _many:
        return "not everybody once"
    return total / 10


def periodic_cost(text, days):
    """Double-precision distance of a periodic solution, or the fault in words."""
    rows = [row for row in _rows(text) if row]
    _type, many, _n, horizon = (int(value) for value in rows[0])
    limits, nodes = rows[1 : 1 + horizon], {int(r[0]): r for r in rows[1 + horizon :]}
    depot = min(nodes)
    total, on = 0.0, {}
    for number, routes in enumerate(days):
        if len(routes) > many:
            return "too many vehicles"
        for route in routes:
            places = [depot, *route, depot]
            length = sum(math.dist(nodes[a][1:3], nodes[b][1:3]) for a, b in pairwise(places))
            if sum(nodes[n][4] for n in route) > limits[number][1]:
                return "overloaded"
            if limits[number][0] and length + sum(nodes[n][3] for n in route) > limits[number][0] + 1e-9:
                return "too long"
            total += length
            for node in route:
                on.setdefault(node, []).append(number)
    for node, row in nodes.items():
        nothing = row[3] == row[4] == 0 and math.dist(row[1:3], nodes[depot][1:3]) == 0
        if node == depot or nothing:
            continue
        code = sum(1 << (horizon - 1 - day) for day in on.get(node, []))
        allowed = [int(c) for c in row[7 : 7 + int(row[6])]]
        if len(on.get(node, [])) != (int(row[5]) or 1) or (any(allowed) and code not in allowed):
            return f"{node} on the wrong days"
    return total
