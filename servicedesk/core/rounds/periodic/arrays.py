"""The problem of tied visits as arrays, and plans out of them again.

A site is the visits of a tie, or one single visit; a node is a site, or a place where rounds begin or end. A row of `shift` is one
shift with its round. Rules that hang on who follows whom are forbidden arcs, those of a site and a shift are an extra price.

Known here: skills and holds to technicians, usual technicians, several loads, the most stops, isolation, overtime, prices of days and
patterns, streets without a way, lunch (by the virtual clock of `clock`). Not known, and left to the search of `patterns`: refills, visits that
may be left out, windows that bind, work so long that it would cover all of lunch's time, visits of one tie that are unlike one another, two
of them on one day, no shift at all on the days of a site."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from servicedesk.core.rounds.clock import virtual_end, virtual_windows
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import NO_WAY_S, Key, Problem, Shift, Tie, Travel, Visit, Window
from servicedesk.core.rounds.rules import fits
from servicedesk.core.rounds.timing import lunch_of

FIRST, MANY, CHOSEN, BEFORE, NEED = range(5)
"""Columns of `site`: rows of `pattern` from FIRST, so MANY; the one chosen, the one before this turn; from NEED on its loads."""
PRICE, COUNT, DAYS = range(3)
DAY, START, END, LIMIT, PAID, OVER_PRICE, FIXED, LEN, VERSION, STAMP, OLD_LEN, OLD_VERSION, BEST_LEN, ROOM = range(14)  # fmt: skip
"""Columns of `shift`: what it is, the length of its round, when that changed, how it was; from ROOM on the van."""
WAY, SOFT, OVERLOAD, OVERTIME, OLD_WORTH = range(5)
"""Columns of `worth`: way and prices; penalties and overtime; units and seconds too much; the same four before this turn."""
NODE, AHEAD, LATER, BACK, BEHIND, OLD, BEST, LOAD = range(8)
"""Columns of `cells`: the node at a position, way and time up to it, both of the reverse, the node before this turn, that of the best
plan; from LOAD on the loads up to it."""
TOUCHED_, QUEUE, OUT_SITE, OUT_DAY, OUT_KEY, ONE, TWO = range(7)
"""Columns of `spare`: rounds touched, visits to be looked at, what is out, two orders under construction."""
PER_LOAD, PER_TIME, HEAT, NOW, BEST_COST, NOISE, BLINK, PRICES, LEAST_LOAD, LEAST_TIME, HELD_LOAD, HELD_TIME, JUDGED = range(13)  # fmt: skip
MOVE, CHEAPEST = 16, 32
"""From MOVE on in `knob` the best move so far; from CHEAPEST on cost and round of the cheapest place on each day."""
RANDOM, CHANGES, TURN, TOUCHED, QUEUE_HEAD, QUEUED, EQUAL, DAY_COUNT, OUT, FULL, LATE, BETTER, LOADS, LAST, PATIENCE = range(15)  # fmt: skip
"""Numbers in `count`. EQUAL: no site has a price on any round; FULL and LATE: rounds that break a rule; LAST: turn of the last better
plan; PATIENCE: after so many turns without one it is gone back to."""
EXCHANGE, TAILS, HEADS, TURNED = range(4)
HUGE = 1e15
FORBIDDEN = 100_000_000
MOST_CELLS = 8_000_000
NEIGHBOURS = 20
IN_VAIN = 60_000
PENALTY = 3.0


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
    byday: Any
    cells: Any
    where: Any
    ins: Any
    spare: Any
    knob: Any
    count: Any
    table: Any


@dataclass(frozen=True)
class Site:
    """Visits that go together, with the patterns (numbers of days) on which somebody can come."""

    visits: tuple[str, ...]
    like: Visit
    patterns: tuple[tuple[int, ...], ...]
    prices: tuple[int, ...]


@dataclass
class Arrays:
    """A problem for the compiled search: None of `sites` where it does not know it."""

    problem: Problem
    days: tuple[int, ...] = ()
    sites: list[Site] = field(default_factory=list)
    extra: Any = None

    def state(self, seed: int) -> State:
        """Fresh arrays; the same seed, the same numbers."""
        return _state(self, seed)


def _free(window: Window, shift: Shift, seconds: int, home: int) -> bool:
    """Whether a window never binds on a shift for work of so many seconds, so many from the shift's end: whoever leaves as early as may be,
    and is back as late as may be, begins within it."""
    on_clock = virtual_windows(window.earliest, window.latest, seconds, lunch_of(shift))
    if len(on_clock) != 1:
        return False
    opens, closes, more = on_clock[0]
    return more == 0 and opens <= shift.earliest and closes >= shift.earliest + _limit(shift) - seconds - home


def _limit(shift: Shift) -> int:
    """Seconds that a round may take, lunch left out."""
    whole = virtual_end(shift.latest, lunch_of(shift)) - shift.earliest
    return whole if shift.paid is None else min(whole, shift.paid + shift.overtime)


def _lunches(shift: Shift) -> bool:
    """Whether lunch, if there is one, lies within the shift from its beginning on: only then the virtual clock begins as the real one does."""
    lunch = lunch_of(shift)
    return lunch is None or shift.earliest <= lunch.earliest


def _alike(visits: list[Visit]) -> bool:
    """Whether visits differ in nothing but their days."""
    first = visits[0]
    return all(
        (v.place, v.seconds, v.skills, v.loads, v.level, v.disinfects, v.technicians, v.usual, v.change_price)
        == (first.place, first.seconds, first.skills, first.loads, first.level, first.disinfects)
        + (first.technicians, first.usual, first.change_price)
        for v in visits
    )


def _known(problem: Problem) -> bool:
    """Whether the compiled search knows all rules of this problem."""
    if any(shift.refill or not _lunches(shift) for shift in problem.shifts):
        return False
    if any(visit.skip_price is not None for visit in problem.visits):
        return False
    seconds, cost = problem.travel.arrays
    many = len(problem.shifts) * (len(problem.visits) + 2)
    return many <= MOST_CELLS and int(cost[seconds < NO_WAY_S].max(initial=0)) < FORBIDDEN


def _groups(problem: Problem) -> Iterator[Tie]:
    """Ties, and single visits as ties of one."""
    yield from problem.ties
    for visit in problem.visits:
        if visit.id not in problem.tied:
            yield Tie((visit.id,), tuple((day,) for day in sorted(visit.days)))


class _Reader:
    """Reads sites out of a problem; `sites` stays empty where something is not known."""

    def __init__(self, problem: Problem) -> None:
        self.problem, self.days, self.seconds = problem, problem.days, problem.travel.arrays[0]
        self.number = {day: n for n, day in enumerate(self.days)}
        self.by_day: dict[int, list[tuple[int, Shift]]] = {}
        for n, shift in enumerate(problem.shifts):
            self.by_day.setdefault(shift.day, []).append((n, shift))
        self.sites: list[Site] = []
        self.rows: list[Any] = []

    def read(self) -> bool:
        """Whether all of it is known."""
        return all(self._site(tie) for tie in _groups(self.problem))

    def _site(self, tie: Tie) -> bool:
        visits = [self.problem.visit[name] for name in tie.visits]
        row, price = np.full(len(self.problem.shifts), HUGE), [tie.price(n) for n in range(len(tie.patterns))]
        if not _alike(visits) or any(len(set(pattern)) < len(pattern) for pattern in tie.patterns):
            return False
        for day in sorted({day for pattern in tie.patterns for day in pattern}):
            if not self._prices(visits, day, row):
                return False
        fine = [n for n, p in enumerate(tie.patterns) if all(self._open(row, day) for day in p)]
        patterns = [tuple(sorted(self.number[day] for day in tie.patterns[n])) for n in fine]
        if any(tuple(sorted(p)) != p for p in tie.patterns):
            return False
        self.sites.append(Site(tie.visits, visits[0], tuple(patterns), tuple(price[n] for n in fine)))
        self.rows.append(row)
        return bool(fine)

    def _open(self, row: Any, day: int) -> bool:
        """Whether somebody can come on a day."""
        return any(row[n] < HUGE for n, _shift in self.by_day.get(day, ()))

    def _prices(self, visits: list[Visit], day: int, row: Any) -> bool:
        """Writes what a day's shifts cost for these visits; False where a window binds or they differ."""
        for n, shift in self.by_day.get(day, ()):
            found = set()
            for visit in visits:
                windows = [window for window in visit.windows if window.day == day]
                if not windows or fits(visit, shift) is not None:
                    continue
                home = int(self.seconds[visit.place, shift.end])
                if not all(_free(window, shift, visit.seconds, home) for window in windows):
                    return False
                other = visit.usual is not None and visit.usual != shift.technician
                found.add(min(w.price for w in windows) + (visit.change_price if other else 0))
            if len(found) > 1:
                return False
            row[n] = min(found, default=HUGE)
        return True


def arrays_of(problem: Problem) -> Arrays | None:
    """The problem for the compiled search; None where that does not know all its rules."""
    reader = _Reader(problem)
    if not _known(problem) or not reader.read():
        return None
    return Arrays(problem, reader.days, reader.sites, np.array(reader.rows))


def _matrix(problem: Problem, sites: list[Site], ends: list[int]) -> Any:
    """Ways and times between nodes, forbidden arcs dear."""
    likes = [site.like for site in sites]
    nodes = [visit.place for visit in likes] + ends
    seconds, cost = (square[np.ix_(nodes, nodes)] for square in problem.travel.arrays)
    level = np.array([visit.level for visit in likes] + [0] * len(ends))
    keeps = np.array([not visit.disinfects for visit in likes] + [False] * len(ends))
    client = np.arange(len(nodes)) < len(sites)
    falls = (level[:, None] > level[None]) & keeps[:, None] & client[None]
    cost = np.where(falls | (seconds >= NO_WAY_S), FORBIDDEN, cost)
    work = np.array([visit.seconds for visit in likes] + [0] * len(ends))
    time = np.where(seconds >= NO_WAY_S, 0, seconds) + work[:, None]
    return np.ascontiguousarray(np.stack([cost, time, cost.T, time.T], axis=2).astype(np.int32))


def _shifts(arrays: Arrays, ends: list[int]) -> Any:
    """Rows of `shift`; the most stops are one more load."""
    problem, number = arrays.problem, {day: n for n, day in enumerate(arrays.days)}
    rows = []
    for s in problem.shifts:
        limit, many = _limit(s), len(arrays.sites)
        paid = limit if s.paid is None else min(limit, s.paid)
        row = [number[s.day], many + ends.index(s.start), many + ends.index(s.end), limit, paid]
        row += [s.overtime_price, s.fixed_price, *[0] * (ROOM - LEN), *s.van]
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
    m, shift = _matrix(problem, arrays.sites, ends), _shifts(arrays, ends)
    loads = shift.shape[1] - ROOM
    site, pattern = _sites(arrays, loads)
    far = np.minimum(m[:many, :many, 0], m[:many, :many, 2]) + np.eye(many, dtype=np.int64) * 10**12
    near = np.argsort(far, axis=1, kind="stable")[:, : min(NEIGHBOURS, many - 1)]
    knob, count = np.zeros(CHEAPEST + 2 * days), np.zeros(PATIENCE + 1, dtype=np.int64)
    _penalties(knob, m, site)
    knob[BEST_COST] = HUGE
    count[RANDOM] = 1 + (seed * 7919 + 12_345) % 2_147_483_646
    count[PATIENCE] = IN_VAIN
    count[DAY_COUNT], count[LOADS], count[EQUAL] = days, loads, not arrays.extra.any()
    where = np.full((many, days, 3), -1, dtype=np.int32)
    where[:, :, 2] = 0
    return State(
        m, np.ascontiguousarray(near.astype(np.int32)), site, pattern, shift, np.zeros((rounds, 8)), arrays.extra.copy(), _by_day(arrays),
        np.zeros((rounds, many + 2, LOAD + loads), dtype=np.int64), where, np.full((many, rounds, 4), -1, dtype=np.int64),
        np.zeros((max(rounds, many * days, many + 2) + 1, 7), dtype=np.int64), knob, count, _moves(),
    )  # fmt: skip


def best_orders(arrays: Arrays, w: State) -> dict[Key, tuple[str, ...]]:
    """The best plan in the product's terms."""
    days: dict[int, list[int]] = {}
    inside = [w.cells[r, 1 : 1 + w.shift[r, BEST_LEN], BEST].tolist() for r in range(len(w.shift))]
    for r, order in enumerate(inside):
        for i in order:
            days.setdefault(i, []).append(int(w.shift[r, DAY]))
    number = {i: {day: k for k, day in enumerate(sorted(on))} for i, on in days.items()}
    return {
        shift.key: tuple(arrays.sites[i].visits[number[i][int(w.shift[r, DAY])]] for i in inside[r])
        for r, shift in enumerate(arrays.problem.shifts)
        if inside[r]
    }


def load_orders(arrays: Arrays, w: State, orders: Orders) -> None:
    """Takes orders as rounds: sites that stand whole on one of their patterns; the others wait to be put in (CHOSEN is -1)."""
    at = {name: key for key, order in orders.items() for name in order}
    number = {day: n for n, day in enumerate(arrays.days)}
    node: dict[str, int] = {}
    for i, site in enumerate(arrays.sites):
        days = tuple(number.get(at[name][1], -1) if name in at else -1 for name in site.visits)
        able = all(name in at and w.extra[i, _row(arrays, at[name])] < HUGE for name in site.visits)
        w.site[i, CHOSEN] = -1
        if able and days in site.patterns:
            w.site[i, CHOSEN] = w.site[i, FIRST] + site.patterns.index(days)
            node |= dict.fromkeys(site.visits, i)
    for r, shift in enumerate(arrays.problem.shifts):
        order = [node[name] for name in orders.get(shift.key, ()) if name in node]
        w.cells[r, 1 : 1 + len(order), NODE] = order
        w.shift[r, LEN] = len(order)


def _row(arrays: Arrays, key: Key) -> int:
    """The number of a shift."""
    return next(n for n, shift in enumerate(arrays.problem.shifts) if shift.key == key)


def smallest() -> State:
    """Arrays of a problem with one site, to have the functions compiled with."""
    visits = tuple(Visit(str(n), 0, 0, (Window(n, 0, 9),), loads=(1,)) for n in range(2))
    shifts = tuple(Shift("a", day, 0, 0, 0, 5, van=(2,)) for day in range(2))
    problem = Problem(Travel([[0]]), visits, shifts, (Tie(("0", "1"), ((0, 1),)),))
    found = arrays_of(problem)
    assert found is not None
    return found.state(1)
