"""The problem of tied visits as arrays, and plans out of them again.

A site is the visits of a tie, or one single visit; a node is a site, or a place where rounds begin or end. A row of `shift` is one
shift with its round. Rules that hang on who follows whom are forbidden arcs, those of a site and a shift are an extra price.

Known here: skills and holds to technicians, usual technicians, several loads, the most stops, isolation, overtime, prices of days and
patterns, visits that may be left out (a pattern without days), streets without a way, windows, several a day too, and lunch (both by the
virtual clock of `clock`), refills on the way at one store. Not known: several stores, shifts that begin after lunch may, visits of one tie
that are unlike one another, two of them on one day, no shift at all on the days of a site that must be visited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from servicedesk.core.rounds.clock import virtual_end, virtual_time
from servicedesk.core.rounds.compiled.reading import (
    ABLE,
    CLOSE,
    COLUMNS,
    DEARER,
    FORBIDDEN,
    HUGE,
    OPEN,
    Reader,
    Site,
    limit,
)
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.plan import REFILL, Orders
from servicedesk.core.rounds.problem import NO_WAY_S, Key, Problem, Refill, Shift, Tie, Travel, Visit, Window
from servicedesk.core.rounds.rules import judge
from servicedesk.core.rounds.timing import lunch_of

FIRST, MANY, CHOSEN, BEFORE, NEED = range(5)
"""Columns of `site`: rows of `pattern` from FIRST, so MANY; the one chosen, the one before this turn; from NEED on its loads."""
PRICE, COUNT, DAYS = range(3)
DAY, START, END, LIMIT, PAID, OVER_PRICE, FIXED, KIND, OPENS, CLOSES, REFILLS = range(11)
"""Columns of `shift`: what it is. KIND: the row of `hours` that goes for it; OPENS, CLOSES: when it begins and ends on the virtual clock;
REFILLS: how often its van may be filled again."""
LEN, VERSION, STAMP, OLD_LEN, OLD_VERSION, BEST_LEN, STORES, ROOM = range(11, 19)
"""More columns of `shift`: the length of its round, when that changed, how it was; how often it is at the store; from ROOM on the van."""
WAY, SOFT, OVERLOAD, OVERTIME, LATENESS, OLD_WORTH = range(6)
"""Columns of `worth`: way and prices; penalties and overtime; units and seconds too much, of these so many after windows closed; the same
five before this turn."""
WORTHS = OLD_WORTH
NODE, AHEAD, LATER, BACK, BEHIND, OLD, BEST, LOAD = range(8)
"""Columns of `cells`: the node at a position, way and time up to it, both of the reverse, the node before this turn, that of the best
plan (both with the window chosen, see `code`); from LOAD on the loads up to it."""
BEGUN, TO_GO = 0, 4
"""Columns of `clock`, four each: seconds that a part of a round takes from the beginning of its first work to that of its last, seconds
after windows closed, from when to when it may begin so; for positions up to this one, and from this one to the last site."""
ROUND, AT, MARKED, WINDOW = range(4)
"""Columns of `where`: the round of a site on a day (-1: none), the position, whether it is to be looked at, which window."""
KNOWN_AT, DEAR, LONGER, PLACE, LATE_THEN, WINDOW_THEN, OVER_THEN = range(7)
"""Columns of `ins`: the version of a round for which it was found; way and seconds more, the position, seconds after windows closed,
which window, the overload where the round is at the store."""
TOUCHED_, QUEUE, OUT_SITE, OUT_DAY, OUT_KEY, ONE, TWO = range(7)
"""Columns of `spare`: rounds touched, visits to be looked at, what is out, two orders under construction."""
PER_LOAD, PER_TIME, HEAT, NOW, BEST_COST, NOISE, BLINK, PRICES, LEAST_LOAD, LEAST_TIME, HELD_LOAD, HELD_TIME, JUDGED = range(13)  # fmt: skip
MOVE, CHEAPEST = 16, 32
"""From MOVE on in `knob` the best move so far; from CHEAPEST on cost and round of the cheapest place on each day."""
RANDOM, CHANGES, TURN, TOUCHED, QUEUE_HEAD, QUEUED, EQUAL, DAY_COUNT, OUT, FULL, LATE, BETTER, LOADS, LAST, PATIENCE, TIMED, STORE, RESETS = range(18)  # fmt: skip
"""Numbers in `count`. STORE: the node at which vans are filled again (-1: none), RESETS: so many loads are; TIMED: windows bind; EQUAL: no site has a price on any round; FULL and LATE: rounds that break a rule; LAST: turn of the last better
plan; PATIENCE: after so many turns without one it is gone back to."""
EXCHANGE, TAILS, HEADS, TURNED = range(4)
NEIGHBOURS = 20
IN_VAIN = 60_000
PENALTY, PRESSED = 3.0, 10.0
"""What is too much costs so many short ways at first; seconds where windows bind so many times as much, by trial."""


class State(NamedTuple):
    """Everything the compiled functions know; each lane has its own. `m[a, b]`: way and time from a to b, way and time back, the
    work at the first within the time."""

    m: Any
    near: Any
    site: Any
    pattern: Any
    shift: Any
    worth: Any
    extra: Any
    hours: Any
    byday: Any
    cells: Any
    clock: Any
    where: Any
    ins: Any
    spare: Any
    knob: Any
    count: Any
    table: Any


@dataclass
class Arrays:
    """A problem for the compiled search: None of `sites` where it does not know it."""

    problem: Problem
    days: tuple[int, ...] = ()
    sites: list[Site] = field(default_factory=list)
    extra: Any = None
    kind: list[int] = field(default_factory=list)
    hours: Any = None
    """None where no window binds: then only sums of seconds count."""

    def state(self, seed: int) -> State:
        """Fresh arrays; the same seed, the same numbers."""
        return _state(self, seed)


def arrays_of(problem: Problem, leave: int | None = None) -> Arrays | None:
    """The problem for the compiled search; None where that does not know all its rules. With `leave` what must be made may be left out
    at that price."""
    reader = Reader(problem, leave)
    if not reader.read():
        return None
    hours = reader.hours() if reader.binds else None
    return Arrays(problem, reader.days, reader.sites, np.array(reader.rows), reader.kind, hours)


def _matrix(problem: Problem, sites: list[Site], ends: list[int], refill: Refill | None) -> Any:
    """Ways and times between nodes, forbidden arcs dear. The store is the last node; nobody goes there from a higher level."""
    likes, store = [site.like for site in sites], [] if refill is None else [refill.place]
    ends = ends + store
    nodes = [visit.place for visit in likes] + ends
    seconds, cost = (square[np.ix_(nodes, nodes)] for square in problem.travel.arrays)
    level = np.array([visit.level for visit in likes] + [0] * len(ends))
    keeps = np.array([not visit.disinfects for visit in likes] + [False] * len(ends))
    client = (np.arange(len(nodes)) < len(sites)) | (np.arange(len(nodes)) >= len(nodes) - len(store))
    falls = (level[:, None] > level[None]) & keeps[:, None] & client[None]
    cost = np.where(falls | (seconds >= NO_WAY_S), FORBIDDEN, cost)
    work = np.array([visit.seconds for visit in likes] + [0] * len(ends))
    if refill is not None:
        work[-1] = refill.seconds
    time = np.where(seconds >= NO_WAY_S, 0, seconds) + work[:, None]
    return np.ascontiguousarray(np.stack([cost, time, cost.T, time.T], axis=2).astype(np.int32))


def _shifts(arrays: Arrays, ends: list[int]) -> Any:
    """Rows of `shift`; the most stops are one more load."""
    problem, number = arrays.problem, {day: n for n, day in enumerate(arrays.days)}
    rows = []
    for s, kind in zip(problem.shifts, arrays.kind, strict=True):
        most, many = limit(s), len(arrays.sites)
        paid = most if s.paid is None else min(most, s.paid)
        row = [number[s.day], many + ends.index(s.start), many + ends.index(s.end), most, paid]
        row += [s.overtime_price, s.fixed_price, kind, s.earliest, virtual_end(s.latest, lunch_of(s))]
        row += [s.refill.most if s.refill else 0]
        row += [*[0] * (ROOM - LEN), *s.van]
        rows.append([*row, len(problem.visits) if s.most_stops is None else s.most_stops])
    table = np.array(rows, dtype=np.int64)
    counted = any(s.most_stops is not None for s in problem.shifts)
    return table if counted else np.ascontiguousarray(table[:, :-1])


def _sites(arrays: Arrays, loads: int) -> tuple[Any, Any]:
    """Rows of `site` and of `pattern`."""
    rows: list[list[int]] = []
    site = np.zeros((len(arrays.sites), NEED + loads), dtype=np.int64)
    vans = len(arrays.problem.shifts[0].van)
    for n, one in enumerate(arrays.sites):
        site[n, :NEED] = len(rows), len(one.patterns), -1, -1
        site[n, NEED + vans :] = 1
        site[n, NEED : NEED + len(one.like.loads)] = one.like.loads
        for pattern, price in zip(one.patterns, one.prices, strict=True):
            rows.append([price, len(pattern), *pattern, *[0] * (len(arrays.days) - len(pattern))])
    return site, np.array(rows, dtype=np.int64)


def _moves() -> Any:
    """Exchanges of chains around u at p and v at q: a - p, how many, turned, b - q, how many, turned; first those after which v
    follows u, then those after which u follows v."""
    ahead, behind = [], []
    for short in range(3):
        for long in range(1, 4):
            ahead += [(1, short, 0, 0, long, 0), (1 - long, long, 0, -short, short, 0)]
            behind += [(-short, short, 0, 1 - long, long, 0), (0, long, 0, 1, short, 0)]
    for many in range(2, 4):
        ahead += [(1, 0, 0, 1 - many, many, 1), (0, many, 1, 0, 0, 0)]
        behind += [(0, 0, 0, 0, many, 1), (1 - many, many, 1, 1, 0, 0)]
    return np.array([ahead, behind], dtype=np.int64)


def _by_day(arrays: Arrays) -> Any:
    """For each day how many rounds it has, and which."""
    table = np.zeros((len(arrays.days), 1 + len(arrays.problem.shifts)), dtype=np.int64)
    for n, shift in enumerate(arrays.problem.shifts):
        day = arrays.days.index(shift.day)
        table[day, 0] += 1
        table[day, table[day, 0]] = n
    return table


def _penalties(knob: Any, m: Any, site: Any) -> None:
    """What a unit and a second too much cost at first: some short ways for an average load, and for their time."""
    many = len(site)
    short = np.sort(m[:many, :many], axis=1)[:, min(1, many - 1) : 6]
    way, time = max(1.0, float(short[:, :, 0].mean())), max(1.0, float(short[:, :, 1].mean()))
    load = max(1.0, float(site[:, NEED:].sum(axis=1).mean())) if site.shape[1] > NEED else 1.0
    knob[PER_LOAD] = knob[LEAST_LOAD] = PENALTY * way / load
    knob[PER_TIME] = knob[LEAST_TIME] = PENALTY * way / time


def _state(arrays: Arrays, seed: int) -> State:
    problem, many, days, rounds = (
        arrays.problem,
        len(arrays.sites),
        len(arrays.days),
        len(arrays.problem.shifts),
    )
    ends = sorted({place for shift in problem.shifts for place in (shift.start, shift.end)})
    refill = next((shift.refill for shift in problem.shifts if shift.refill), None)
    m, shift = _matrix(problem, arrays.sites, ends, refill), _shifts(arrays, ends)
    loads = shift.shape[1] - ROOM
    site, pattern = _sites(arrays, loads)
    far = np.minimum(m[:many, :many, 0], m[:many, :many, 2]) + np.eye(many, dtype=np.int64) * 10**12
    near = np.argsort(far, axis=1, kind="stable")[:, : min(NEIGHBOURS, many - 1)]
    knob, count = np.zeros(CHEAPEST + 2 * days), np.zeros(RESETS + 1, dtype=np.int64)
    _penalties(knob, m, site)
    knob[BEST_COST] = HUGE
    count[RANDOM] = 1 + (seed * 7919 + 12_345) % 2_147_483_646
    count[PATIENCE] = IN_VAIN
    timed, hours = arrays.hours is not None, arrays.hours
    if not timed:
        hours = np.zeros((1, 1, 1, COLUMNS), dtype=np.int64)
    if timed:
        knob[PER_TIME] *= PRESSED
    count[DAY_COUNT], count[LOADS], count[TIMED] = days, loads, timed
    count[EQUAL] = not arrays.extra.any() and not hours[:, :, :, DEARER].any()
    count[STORE], count[RESETS] = -1 if refill is None else len(m) - 1, len(problem.shifts[0].van)
    wide = many + 2 + int(shift[:, REFILLS].max())
    where = np.zeros((many, days, 4), dtype=np.int32)
    where[:, :, ROUND] = -1
    return State(
        m, np.ascontiguousarray(near.astype(np.int32)), site, pattern, shift, np.zeros((rounds, 2 * WORTHS)), arrays.extra.copy(), hours,
        _by_day(arrays), np.zeros((rounds, wide, LOAD + loads), dtype=np.int64),
        np.zeros((rounds, wide if timed else 1, 8), dtype=np.int64), where, np.full((many, rounds, 7), -1, dtype=np.int64),
        np.zeros((max(rounds, many * days, wide) + 1, 7), dtype=np.int64), knob, count, _moves(),
    )  # fmt: skip


def best_orders(arrays: Arrays, w: State) -> dict[Key, tuple[str, ...]]:
    """The best plan in the product's terms."""
    days: dict[int, list[int]] = {}
    nodes = w.m.shape[0]
    inside = [(w.cells[r, 1 : 1 + w.shift[r, BEST_LEN], BEST] % nodes).tolist() for r in range(len(w.shift))]
    for r, order in enumerate(inside):
        for i in order:
            if i != w.count[STORE]:
                days.setdefault(i, []).append(int(w.shift[r, DAY]))
    number = {i: {day: k for k, day in enumerate(sorted(on))} for i, on in days.items()}
    return {
        shift.key: tuple(
            REFILL if i == w.count[STORE] else arrays.sites[i].visits[number[i][int(w.shift[r, DAY])]]
            for i in inside[r]
        )
        for r, shift in enumerate(arrays.problem.shifts)
        if inside[r]
    }


def load_orders(arrays: Arrays, w: State, orders: Orders) -> None:
    """Takes orders as rounds: sites that stand whole on one of their patterns; the others wait to be put in (CHOSEN is -1)."""
    at = {name: key for key, order in orders.items() for name in order}
    number = {day: n for n, day in enumerate(arrays.days)}
    rows = {shift.key: n for n, shift in enumerate(arrays.problem.shifts)}
    node: dict[str, int] = {}
    for i, site in enumerate(arrays.sites):
        days = tuple(number.get(at[name][1], -1) if name in at else -1 for name in site.visits)
        able = all(name in at and w.extra[i, rows[at[name]]] < HUGE for name in site.visits)
        w.site[i, CHOSEN] = -1
        if able and days in site.patterns:
            w.site[i, CHOSEN] = w.site[i, FIRST] + site.patterns.index(days)
            node |= dict.fromkeys(site.visits, i)
    for r, shift in enumerate(arrays.problem.shifts):
        there = node | ({REFILL: int(w.count[STORE])} if shift.refill else {})
        order = [there[name] for name in orders.get(shift.key, ()) if name in there]
        w.cells[r, 1 : 1 + len(order), NODE] = order
        w.shift[r, LEN] = len(order)
    if w.hours.shape[2] > 1:
        _load_windows(arrays, w, orders, node)


def _load_windows(arrays: Arrays, w: State, orders: Orders, node: Mapping[str, int]) -> None:
    """Chooses for each visit the window in which it begins by the product's own clock."""
    rows = {shift.key: n for n, shift in enumerate(arrays.problem.shifts)}
    where = judge(arrays.problem, orders)[0].where
    for name in node.keys() & where.keys():
        round_, stop = where[name]
        r = rows[round_.key]
        start = virtual_time(stop.start, lunch_of(arrays.problem.shifts[r]))
        able = w.hours[w.shift[r, KIND], node[name]]
        inside = (able[:, ABLE] == 1) & (able[:, OPEN] <= start) & (start <= able[:, CLOSE])
        first = np.argmax(inside) if inside.any() else np.argmax(able[:, ABLE])
        w.where[node[name], w.shift[r, DAY], WINDOW] = first


def smallest() -> State:
    """Arrays of a problem with one site, to have the functions compiled with."""
    visits = tuple(Visit(str(n), 0, 0, (Window(n, 0, 9),), loads=(1,)) for n in range(2))
    shifts = tuple(Shift("a", day, 0, 0, 0, 5, van=(2,)) for day in range(2))
    problem = Problem(Travel([[0]]), visits, shifts, (Tie(("0", "1"), ((0, 1),)),))
    found = arrays_of(problem)
    assert found is not None
    return found.state(1)
