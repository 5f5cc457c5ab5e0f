"""What is to be planned: visits with the days and hours at which they may begin, technicians' shifts, travel. Values only.

Times are whole seconds since local midnight of their day; days count from 0, the first of the horizon. A price is in the unit
of `Travel.cost`, by default seconds of driving: a price of 600 is worth ten minutes at the wheel. Loads are whole units, one
number for each dimension (litres, grams, boxes: what they mean is the caller's)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from servicedesk.core.rounds.later import np

DAY_S = 86_400
NO_WAY_S = 10_000_000
"""From here on a pair of places counts as not connected."""
CLEAN, SUSPECT, ISOLATED = 0, 1, 2


class NotPlanned(ValueError):
    """A problem that cannot be; the sentence says why."""


@dataclass(frozen=True, eq=False)
class Travel:
    """Whole seconds and cost of each ordered pair of places (square arrays, from row to column, nought on the diagonal; nothing
    is mirrored). `cost` is what the planner keeps low; left out, it is the seconds. `metres`, where known, are for show."""

    seconds: Any
    cost: Any = None
    metres: Any = None

    @cached_property
    def rows(self) -> list[list[int]]:
        """Seconds as lists."""
        return _lists(self.seconds)

    @cached_property
    def costs(self) -> list[list[int]]:
        """Cost as lists."""
        return self.rows if self.cost is None else _lists(self.cost)

    @cached_property
    def lengths(self) -> list[list[int]] | None:
        """Metres as lists; None where they are not known."""
        return None if self.metres is None else _lists(self.metres)

    @cached_property
    def arrays(self) -> tuple[Any, Any]:
        """Seconds and cost as arrays of whole numbers."""
        seconds = np.asarray(self.seconds, dtype=np.int64)
        return seconds, seconds if self.cost is None else np.asarray(self.cost, dtype=np.int64)

    def joined(self, a: int, b: int) -> bool:
        """Whether there is a way from the one to the other."""
        return self.rows[a][b] < NO_WAY_S


def _lists(square: Any) -> list[list[int]]:
    rows = square.tolist() if hasattr(square, "tolist") else square
    return [[int(value) for value in row] for row in rows]


@dataclass(frozen=True)
class Window:
    """On this day the work may begin from `earliest` to `latest` (both included); `price` is what choosing it costs."""

    day: int
    earliest: int
    latest: int
    price: int = 0


@dataclass(frozen=True)
class Visit:
    """Work at a place that is owed once in the horizon.

    `skip_price` None: it must be planned; else what leaving it out costs. `technicians` None: anybody who has the skills;
    else only these. Where somebody else than `usual` comes it costs `change_price`. `level`: after a visit of a level none of
    a lower one follows on the same round, unless the first `disinfects` (an emergency there, with disinfected kit)."""

    id: str
    place: int
    seconds: int
    windows: tuple[Window, ...]
    skills: frozenset[str] = frozenset()
    loads: tuple[int, ...] = ()
    level: int = CLEAN
    disinfects: bool = False
    skip_price: int | None = None
    technicians: frozenset[str] | None = None
    usual: str | None = None
    change_price: int = 0
    held: bool = False
    """A person has locked it: where not everything fits, others are left out first."""

    @property
    def days(self) -> frozenset[int]:
        return frozenset(window.day for window in self.windows)


@dataclass(frozen=True)
class Lunch:
    """A break of `seconds` that begins from `earliest` to `latest`, never during work. Who is back by `latest`, or leaves after
    it could have been eaten, needs none on the way."""

    seconds: int
    earliest: int
    latest: int


@dataclass(frozen=True)
class Refill:
    """Where a van takes on its full load again, how long that takes, how often it may."""

    place: int
    seconds: int
    most: int = 1


@dataclass(frozen=True)
class Shift:
    """One technician on one day: leaves `start` not before `earliest`, is back at `end` by `latest`. `paid` seconds away (lunch
    left out) cost nothing more; up to `overtime` beyond them cost `overtime_price` each. `van` is the capacity in each
    dimension of load. `fixed_price` is what going out at all costs."""

    technician: str
    day: int
    start: int
    end: int
    earliest: int
    latest: int
    paid: int | None = None
    overtime: int = 0
    overtime_price: int = 1
    lunch: Lunch | None = None
    skills: frozenset[str] = frozenset()
    van: tuple[int, ...] = ()
    refill: Refill | None = None
    most_stops: int | None = None
    fixed_price: int = 0

    @property
    def key(self) -> Key:
        return (self.technician, self.day)


Key = tuple[str, int]


@dataclass(frozen=True)
class Tie:
    """Visits of one site whose days hang together: the k-th visit is on the k-th day of one of `patterns`."""

    visits: tuple[str, ...]
    patterns: tuple[tuple[int, ...], ...]
    prices: tuple[int, ...] = ()

    def allows(self, day: Mapping[str, int]) -> bool:
        """Whether some pattern goes with the days of those of its visits that have one."""
        return any(
            all(day.get(visit, at) == at for visit, at in zip(self.visits, pattern, strict=True))
            for pattern in self.patterns
        )

    def price(self, number: int) -> int:
        """What choosing a pattern costs."""
        return self.prices[number] if self.prices else 0


@dataclass(frozen=True)
class Pair:
    """A visit for two: both begin at the same moment, by two technicians."""

    first: str
    second: str


@dataclass(frozen=True, eq=False)
class Problem:
    """Everything a plan hangs on. Order counts: with the same order, seed and limit of iterations the plan is the same."""

    travel: Travel
    visits: tuple[Visit, ...]
    shifts: tuple[Shift, ...]
    ties: tuple[Tie, ...] = ()
    pairs: tuple[Pair, ...] = ()
    dimensions: tuple[str, ...] = ()
    names: tuple[str, ...] = field(default=(), repr=False)

    @cached_property
    def visit(self) -> Mapping[str, Visit]:
        return {visit.id: visit for visit in self.visits}

    @cached_property
    def shift(self) -> Mapping[Key, Shift]:
        return {shift.key: shift for shift in self.shifts}

    @cached_property
    def tied(self) -> Mapping[str, Tie]:
        """The tie each tied visit stands in."""
        return {visit: tie for tie in self.ties for visit in tie.visits}

    @cached_property
    def days(self) -> tuple[int, ...]:
        return tuple(sorted({shift.day for shift in self.shifts}))

    def name(self, place: int) -> str:
        return self.names[place] if place < len(self.names) else f"place {place + 1}"


def locked(
    visit: Visit,
    *,
    technician: str | None = None,
    day: int | None = None,
    start: int | None = None,
    windows: tuple[Window, ...] | None = None,
) -> Visit:
    """The same visit held by a person to a technician, a day or a start (seconds since midnight). What was allowed before and
    does not go with the lock is no longer allowed; a lock may name a time outside the windows: the person is believed."""
    kept = visit.windows if windows is None else windows
    if day is not None:
        kept = tuple(window for window in kept if window.day == day) or (Window(day, 0, DAY_S - 1),)
    if start is not None:
        kept = tuple(Window(at, start, start) for at in sorted({window.day for window in kept}))
    who = visit.technicians if technician is None else frozenset({technician})
    return replace(visit, windows=kept, technicians=who, held=True)
