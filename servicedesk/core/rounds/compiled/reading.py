"""Reads a problem for the search on arrays: which visits go together as one site, on which patterns of days somebody can come, at
which price on each shift, and at which hours on the virtual clock of `clock`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from servicedesk.core.rounds.clock import virtual_end, virtual_windows
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.model import HELD
from servicedesk.core.rounds.problem import NO_WAY_S, Lunch, Problem, Shift, Tie, Visit, Window
from servicedesk.core.rounds.rules import fits
from servicedesk.core.rounds.timing import lunch_of

HUGE = 1e15
FORBIDDEN = 100_000_000
MOST_CELLS = 2_000_000
"""Shifts times sites that the arrays take: some 200 bytes each, in every lane."""
OPEN, CLOSE, MORE, DEARER, ABLE, COLUMNS = range(6)
"""Columns of `hours`: when work may begin on the virtual clock, how much longer it takes there, what that window costs more than the
cheapest of its day, and whether it is there at all; where it is not, the others are those of one that is."""

Parts = tuple[tuple[tuple[int, int, int], ...], ...]
"""For each window of a day its parts on the virtual clock."""


@dataclass(frozen=True)
class Site:
    """Visits that go together, with the patterns (numbers of days) on which somebody can come. Where they may be left out the
    first pattern has no days."""

    visits: tuple[str, ...]
    like: Visit
    patterns: tuple[tuple[int, ...], ...]
    prices: tuple[int, ...]


def limit(shift: Shift) -> int:
    """Seconds that a round may take, lunch left out."""
    whole = virtual_end(shift.latest, lunch_of(shift)) - shift.earliest
    return whole if shift.paid is None else min(whole, shift.paid + shift.overtime)


def free(window: Window, shift: Shift, seconds: int, home: int) -> bool:
    """Whether a window never binds on a shift for work of so many seconds, so many from the shift's end: whoever leaves as early as may be,
    and is back as late as may be, begins within it."""
    parts = virtual_windows(window.earliest, window.latest, seconds, lunch_of(shift))
    if len(parts) != 1 or parts[0][2]:
        return False
    return parts[0][0] <= shift.earliest and parts[0][1] >= shift.earliest + limit(shift) - seconds - home


def _begins_with_the_clock(shift: Shift) -> bool:
    """Whether lunch, if there is one, lies within the shift from its beginning on: only then the virtual clock begins as the real one does."""
    lunch = lunch_of(shift)
    return lunch is None or shift.earliest <= lunch.earliest


def _alike(visits: Sequence[Visit]) -> bool:
    """Whether visits differ in nothing but their days."""
    first = visits[0]
    return all(
        (v.place, v.seconds, v.skills, v.loads, v.level, v.disinfects, v.technicians, v.usual, v.change_price)
        == (first.place, first.seconds, first.skills, first.loads, first.level, first.disinfects)
        + (first.technicians, first.usual, first.change_price)
        and (v.skip_price is None) == (first.skip_price is None)
        for v in visits
    )


def _groups(problem: Problem) -> Iterator[Tie]:
    """Ties, and single visits as ties of one."""
    yield from problem.ties
    for visit in problem.visits:
        if visit.id not in problem.tied:
            yield Tie((visit.id,), tuple((day,) for day in sorted(visit.days)))


def _skipped(visits: Sequence[Visit], leave: int | None) -> int | None:
    """What leaving out these visits costs; None where they must be made. `leave`: the price for those that must."""
    prices = [
        leave * (HELD if v.held else 1) if v.skip_price is None and leave else v.skip_price for v in visits
    ]
    return None if None in prices else sum(price or 0 for price in prices)


class Reader:
    """Reads sites out of a problem; `read` says whether all of it is known. `leave` is a price for leaving out what must be made."""

    def __init__(self, problem: Problem, leave: int | None = None) -> None:
        self.problem, self.days, self.leave = problem, problem.days, leave
        self.seconds = problem.travel.arrays[0]
        self.number = {day: n for n, day in enumerate(self.days)}
        self.by_day: dict[int, list[tuple[int, Shift]]] = {}
        self.kinds: dict[tuple[int, Lunch | None], int] = {}
        self.kind: list[int] = []
        for n, shift in enumerate(problem.shifts):
            self.by_day.setdefault(shift.day, []).append((n, shift))
            self.kind.append(self.kinds.setdefault((shift.day, lunch_of(shift)), len(self.kinds)))
        self.sites: list[Site] = []
        self.rows: list[Any] = []
        self.found: dict[tuple[int, int], tuple[tuple[Window, ...], Parts]] = {}
        self.binds = False

    def read(self) -> bool:
        """Whether all of it is known."""
        return self._known() and all(self._site(tie) for tie in _groups(self.problem))

    def _known(self) -> bool:
        problem = self.problem
        stores = {(shift.refill.place, shift.refill.seconds) for shift in problem.shifts if shift.refill}
        if len(stores) > 1 or not all(_begins_with_the_clock(shift) for shift in problem.shifts):
            return False
        seconds, cost = problem.travel.arrays
        many = len(problem.shifts) * (len(problem.visits) + 2)
        return many <= MOST_CELLS and int(cost[seconds < NO_WAY_S].max(initial=0)) < FORBIDDEN

    def _site(self, tie: Tie) -> bool:
        visits = [self.problem.visit[name] for name in tie.visits]
        row, price = np.full(len(self.problem.shifts), HUGE), [tie.price(n) for n in range(len(tie.patterns))]
        if not _alike(visits) or any(len(set(pattern)) < len(pattern) for pattern in tie.patterns):
            return False
        for day in sorted({day for pattern in tie.patterns for day in pattern}):
            if not self._prices(visits, day, row):
                return False
        fine = [n for n, p in enumerate(tie.patterns) if all(self._open(row, day) for day in p)]
        patterns = [tuple(self.number[day] for day in tie.patterns[n]) for n in fine]
        if any(tuple(sorted(p)) != p for p in tie.patterns):
            return False
        prices, skipped = [price[n] for n in fine], _skipped(visits, self.leave)
        if skipped is not None:
            patterns, prices = [(), *patterns], [skipped, *prices]
        self.sites.append(Site(tie.visits, visits[0], tuple(patterns), tuple(prices)))
        self.rows.append(row)
        return bool(patterns)

    def _open(self, row: Any, day: int) -> bool:
        """Whether somebody can come on a day."""
        return any(row[n] < HUGE for n, _shift in self.by_day.get(day, ()))

    def _prices(self, visits: list[Visit], day: int, row: Any) -> bool:
        """Writes what a day's shifts cost for these visits, and their hours; False where they differ."""
        all_windows = {tuple(w for w in visit.windows if w.day == day) for visit in visits} - {()}
        if len(all_windows) != 1:
            return not all_windows
        windows = all_windows.pop()
        first = next(visit for visit in visits if day in visit.days)
        for n, shift in self.by_day.get(day, ()):
            if fits(first, shift) is not None:
                continue
            lunch = lunch_of(shift)
            parts = tuple(tuple(virtual_windows(w.earliest, w.latest, first.seconds, lunch)) for w in windows)
            if not any(parts):
                continue
            self.found[len(self.sites), self.kind[n]] = windows, parts
            home = int(self.seconds[first.place, shift.end])
            self.binds = self.binds or not all(free(w, shift, first.seconds, home) for w in windows)
            other = first.usual is not None and first.usual != shift.technician
            row[n] = min(w.price for w in windows) + (first.change_price if other else 0)
        return True

    def hours(self) -> Any:
        """For each kind of shift, site and window, numbered alike for all kinds, the columns OPEN to ABLE."""
        split = 1 + any(len(part) > 1 for _windows, parts in self.found.values() for part in parts)
        most = max((len(parts) for _windows, parts in self.found.values()), default=1)
        table = np.zeros((max(1, len(self.kinds)), len(self.sites), most * split, COLUMNS), dtype=np.int64)
        for (site, kind), (windows, parts) in self.found.items():
            cheapest = min(w.price for w in windows)
            able = {
                k * split + j: (*part, window.price - cheapest, 1)
                for k, window in enumerate(windows)
                for j, part in enumerate(parts[k])
            }
            table[kind, site] = (*next(iter(able.values()))[:ABLE], 0)
            for number, row in able.items():
                table[kind, site, number] = row
        return table
