"""One technician's part of a master round as a problem of its own, and the pieces of work that several processes share."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.later import np
from servicedesk.core.rounds.master.sweeping import swept
from servicedesk.core.rounds.master.values import (
    WEEK,
    Habit,
    Master,
    Person,
    Regular,
    days_of,
    habits_of,
    shifts_of,
)
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.planner import plan_rounds
from servicedesk.core.rounds.problem import Problem, Tie, Travel, Visit, Window

SWEPT, LEAST_S = 0.5, 0.05
"""Share of a task's time for going through its sites one by one; what is left to the planner at the least, in seconds."""
MARK = "#"
"""Stands between a site and the number of its visit."""


def name_of(site: str, number: int) -> str:
    """The name of the k-th visit of a site in the cycle."""
    return f"{site}{MARK}{number}"


def site_of(visit: str) -> str:
    """Whose visit it is."""
    return visit.rsplit(MARK, 1)[0]


def part(
    master: Master,
    person: Person,
    sites: Iterable[Regular],
    *,
    held: Mapping[str, Habit] | None = None,
    paid: int | None = None,
    guests: Iterable[Regular] = (),
) -> Problem:
    """This technician with these sites: with every habit that is possible and what going over to it costs, or with those that
    are `held`. Beyond `paid` seconds a day each one costs; guests are sites that might come to this technician."""
    named, ties, places = list[Visit](), list[Tie](), _Places()
    for site in [*sites, *guests]:
        fixed = (held or {}).get(site.id)
        habits = [fixed] if fixed is not None else habits_of(master, site, person)
        patterns = [days_of(master, site, habit) for habit in habits]
        prices = [master.prices.pattern(site.habit, habit) for habit in habits]
        names = tuple(name_of(site.id, n) for n in range(len(patterns[0]))) if patterns else ()
        for number, name in enumerate(names):
            days = sorted({pattern[number] for pattern in patterns})
            named.append(Visit(name, places.of(site.place), site.seconds, _windows(site, days), site.skills))
        if names:
            ties.append(Tie(names, tuple(patterns), tuple(prices)))
    shifts = shifts_of(
        master, person, person.paid if paid is None else paid, places.of(person.start), places.of(person.end)
    )
    return Problem(_travel(master.travel, places.rows), tuple(named), shifts, tuple(ties))


def _travel(whole: Travel, rows: Sequence[int]) -> Travel:
    """The ways between these places alone."""
    only = np.ix_(rows, rows)
    metres = None if whole.metres is None else np.asarray(whole.metres)[only]
    return Travel(whole.arrays[0][only], None if whole.cost is None else whole.arrays[1][only], metres)


class _Places:
    """Rows of the large matrix as rows of a small one."""

    def __init__(self) -> None:
        self.rows: list[int] = []
        self.known: dict[int, int] = {}

    def of(self, place: int) -> int:
        if place not in self.known:
            self.known[place] = len(self.rows)
            self.rows.append(place)
        return self.known[place]


def _windows(site: Regular, days: Sequence[int]) -> tuple[Window, ...]:
    return tuple(
        Window(day, hour.earliest, hour.latest, hour.price)
        for day in days
        for hour in site.hours
        if hour.day == day % WEEK
    )


@dataclass(frozen=True)
class Task:
    """A part to be searched: from these orders, for so long or so many iterations, from a seed. Goes to another process as it is."""

    number: int
    problem: Problem
    start: Orders | None
    seconds: float | None
    iterations: int | None
    seed: int


@dataclass(frozen=True)
class Answer:
    """What was found for a task: orders that break nothing."""

    number: int
    orders: Orders


Crew = Callable[[Sequence[Task], Callable[[], bool]], Iterator[Answer]]
"""Whoever does the tasks: gives the answers in any order, fewer of them when told to stop."""


def solve(task: Task, cancelled: Callable[[], bool]) -> Answer:
    """One task: its sites one by one first, where it begins somewhere, then by the planner."""
    began, start, seconds = time.perf_counter(), task.start, task.seconds

    def over() -> bool:
        late = seconds is not None and time.perf_counter() - began > SWEPT * seconds
        return late or cancelled()

    if start is not None:
        start = swept(task.problem, start, task.seed, over)
    left = None if seconds is None else max(LEAST_S, seconds - (time.perf_counter() - began))
    budget = Budget(seconds=left, iterations=task.iterations, seed=task.seed)
    found = plan_rounds(task.problem, budget, start=start, cancelled=cancelled)
    return Answer(task.number, found.plan.orders)


def alone(tasks: Sequence[Task], cancelled: Callable[[], bool]) -> Iterator[Answer]:
    """The crew of one: one task after the other, in this process."""
    for task in tasks:
        if cancelled():
            return
        yield solve(task, cancelled)
