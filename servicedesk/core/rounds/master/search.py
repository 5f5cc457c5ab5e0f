"""Finding a master round: today's habits driven as well as they can be; territories; each technician's part searched with every
pattern, as many at once as there are hands; what costs more than it saves taken back; weeks and people evened out.

The result is never worth less than keeping everything, the price of changes counted in: technicians whose new part is not worth
it keep their sites and are searched again with those."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from servicedesk.core.rounds.keeping import Budget
from servicedesk.core.rounds.master.book import NO_ROOM, TRIED, Book, neighbours_of, started
from servicedesk.core.rounds.master.parts import Crew, Task, alone, part, site_of
from servicedesk.core.rounds.master.territories import territories
from servicedesk.core.rounds.master.values import (
    WEEK,
    Habit,
    Master,
    Regular,
    days_of,
    habits_of,
    refuse_odd,
    visits_of,
)
from servicedesk.core.rounds.plan import Orders
from servicedesk.core.rounds.problem import Key, NotPlanned

KEEP, BRIEF, LONG, AGAIN, TOUCH, LEAST = 0.1, 0.12, 0.5, 0.1, 0.15, 0.2
"""Shares of the time: today's habits, a first look, the search, a second one for those who keep their sites, taking back and evening
out; the least for the search where the rest took long."""
EVERY, ASKED = 1000, 4
ROOM = 1.06
"""A day that is longer than the average by more than this costs in the search."""
SEEDS = 20_000
"""The search multiplies seeds; so many fit."""
GAIN = -30.0
"""What a step has to bring, in seconds, before it is taken."""


@dataclass(frozen=True)
class Reached:
    """How far it is: pieces of work done, of how many, and seconds at the wheel of what is there."""

    done: int
    of: int
    driving: int | None = None


@dataclass(frozen=True)
class Alone:
    """What one change brings if nothing else changes (seconds at the wheel and metres less), and whether it can be made alone."""

    driving: int
    metres: int
    fits: bool = True


@dataclass(frozen=True)
class MasterPlan:
    """Today's round and the proposed one. `unable` are sites that nobody can visit; `first_s` seconds until the first whole plan."""

    master: Master
    before: Book
    after: Book
    alone: Mapping[str, Alone]
    unable: tuple[str, ...]
    first_s: float
    seconds: float
    cancelled: bool


def plan_master(
    master: Master,
    budget: Budget,
    *,
    crew: Crew = alone,
    told: Callable[[Reached], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> MasterPlan:
    """Finds a master round. `budget.threads` says for how many pairs of hands the time is reckoned that `crew` has; iterations are
    those of each technician's search. Raises NotPlanned for what cannot be."""
    refuse_odd(master)
    if budget.seconds is None and budget.iterations is None:
        raise NotPlanned("Planning needs an end: seconds or iterations.")
    return _Search(master, budget, crew, told, cancelled or (lambda: False)).run()


class _Search:
    def __init__(
        self,
        master: Master,
        budget: Budget,
        crew: Crew,
        told: Callable[[Reached], None] | None,
        cancelled: Callable[[], bool],
    ) -> None:
        able = {s.id for s in master.sites if any(master.able(s, p) for p in master.people)}
        due = [s for s in master.sites if visits_of(master, s)]
        self.unable = tuple(s.id for s in due if s.id not in able)
        sites = tuple(s for s in due if s.id in able)
        self.master = Master(master.travel, sites, master.people, master.weeks, master.prices)
        self.budget, self.crew, self.told, self.cancelled = budget, crew, told, cancelled
        self.began, self.number, self.done = time.perf_counter(), 0, 0
        self.of, self.first_s = 3 * len(master.people), 0.0
        self.whose = territories(self.master, budget.seed)

    def run(self) -> MasterPlan:
        before = self._kept()
        candidate = self._with_newcomers(before)
        found = self._searched(candidate)
        after = self._better(candidate, found)
        after = Book(self.master, after.habits, after.orders, neighbours_of(self.master, after.habits))
        self._touched(after)
        after = min(after, candidate, key=lambda book: book.worth)
        self._first(after)
        seconds = time.perf_counter() - self.began
        return MasterPlan(
            self.master, before, after, self._alone(before, after), self.unable, self.first_s, seconds, self.cancelled()
        )  # fmt: skip

    def _tasks(
        self,
        shares: Mapping[str, Sequence[Regular]],
        share: float,
        starts: Orders,
        held: Mapping[str, Habit] | None = None,
        paid: Mapping[str, int] | None = None,
    ) -> dict[Key, tuple[str, ...]]:
        """Parts of technicians with these sites, searched; the orders found, and where the crew gave none those it began with."""
        tasks, budget = list[Task](), self.budget
        busy = [person for person in self.master.people if shares.get(person.id)]
        for person in busy:
            problem = part(
                self.master, person, shares[person.id], held=held, paid=(paid or {}).get(person.id)
            )
            start = {s.key: self._only(starts.get(s.key, ()), problem.visit) for s in problem.shifts}
            self.number += 1
            tasks.append(
                Task(
                    len(tasks), problem, start if any(start.values()) else None,
                    None if budget.seconds is None else share * budget.seconds * max(1, budget.threads) / len(busy),
                    None if budget.iterations is None else max(1, round(share * budget.iterations)),
                    (budget.seed * 997 + self.number) % SEEDS,
                )
            )  # fmt: skip
        orders = {
            shift.key: self._only(starts.get(shift.key, ()), task.problem.visit)
            for task in tasks
            for shift in task.problem.shifts
        }
        for answer in self.crew(tasks, self.cancelled):
            for shift in tasks[answer.number].problem.shifts:
                orders[shift.key] = tuple(answer.orders.get(shift.key, ()))
            self.done += 1
            self._tell()
        return orders

    @staticmethod
    def _only(order: Iterable[str], known: Mapping[str, object]) -> tuple[str, ...]:
        return tuple(name for name in order if name in known)

    def _tell(self, driving: int | None = None) -> None:
        if self.told is not None:
            self.told(Reached(min(self.done, self.of), self.of, driving))

    def _kept(self) -> Book:
        """Today's habits, as far as they can go on: put together visit by visit, then each day driven in its best order."""
        habits = started(self.master, self.master.sites)
        begun = Book(self.master, {}, {}, {name: [habit.technician] for name, habit in habits.items()})
        for site in sorted(self.master.sites, key=_hardest):
            step = begun.over(site.id, habits[site.id]) if site.id in habits else None
            if step is not None:
                begun.take(step)
        shares = self._shares({name: habit.technician for name, habit in habits.items()})
        orders = self._tasks(shares, KEEP, begun.orders, held=habits)
        return Book(self.master, habits, self._whole(habits, orders))

    def _shares(self, whose: Mapping[str, str]) -> dict[str, list[Regular]]:
        shares: dict[str, list[Regular]] = defaultdict(list)
        for site in self.master.sites:
            if site.id in whose:
                shares[whose[site.id]].append(site)
        return shares

    def _whole(self, habits: Mapping[str, Habit], orders: Orders) -> dict[Key, tuple[str, ...]]:
        """Orders without visits of sites of which not every visit is there on its day."""
        day = {name: key for key, order in orders.items() for name in order}
        wrong = set()
        for site in self.master.sites:
            habit = habits.get(site.id)
            days = days_of(self.master, site, habit) if habit is not None else ()
            keys = [(habit.technician, d) for d in days] if habit is not None else []
            if [day.get(f"{site.id}#{n}") for n in range(len(keys))] != keys:
                wrong.add(site.id)
        return {key: tuple(n for n in order if site_of(n) not in wrong) for key, order in orders.items()}

    def _with_newcomers(self, before: Book) -> Book:
        """Everything kept, and whoever has no habit yet, or none that finds room, where it costs least: those first that are hardest to place."""
        waiting = [s for s in self.master.sites if s.id not in before.habits or s.id in before.homeless]
        if not waiting:
            return self._first(before)
        whose = self.whose
        able = {s.id: [p.id for p in self.master.people if self.master.able(s, p)] for s in waiting}
        first = {name: sorted(some, key=lambda p: p != whose[name])[:ASKED] for name, some in able.items()}
        book = Book(self.master, before.habits, before.orders, first)
        for site in sorted(waiting, key=_hardest):
            steps = book.steps(site.id, EVERY)
            if steps:
                book.take(steps[0])
            elif site.id not in book.habits:
                book.habits[site.id] = habits_of(self.master, site, self.master.person[whose[site.id]])[0]
        return self._first(book)

    def _first(self, book: Book) -> Book:
        """Notes when there was a whole plan first."""
        if not self.first_s and not book.homeless:
            self.first_s = time.perf_counter() - self.began
        self._tell(book.driving)
        return book

    def _searched(self, candidate: Book) -> Book:
        """Sites that go over to their new territory first, then each technician's part with every pattern."""
        begun = self._gone_over(candidate)
        shares = self._shares({name: habit.technician for name, habit in begun.habits.items()})
        found = self._first(self._book(shares, self._tasks(shares, BRIEF, begun.orders)))
        orders = self._tasks(shares, self._left(), found.orders, paid=self._targets(found))
        return self._first(self._book(shares, orders))

    def _left(self) -> float:
        """Share of the time for the long search: what is left but for what comes after it."""
        if self.budget.seconds is None:
            return LONG
        used = (time.perf_counter() - self.began) / self.budget.seconds
        return max(LEAST, 1 - used - AGAIN - TOUCH)

    def _gone_over(self, candidate: Book) -> Book:
        """Each site with the technician of its territory, where it costs least there; one that finds no room stays."""
        goes = {
            name: [self.whose[name]]
            for name, habit in candidate.habits.items()
            if self.whose[name] != habit.technician
        }
        book = Book(self.master, candidate.habits, candidate.orders, goes)
        for name, people in goes.items():
            steps = book.steps(name, people=people) or book.steps(name, EVERY, people)
            if steps:
                book.take(steps[0])
        return book

    def _targets(self, book: Book) -> dict[str, int]:
        """Seconds of an even day for each technician."""
        days = {p.id: max(1, len(p.weekdays) * self.master.weeks) for p in self.master.people}
        return {
            p.id: min(p.paid, round(ROOM * sum(book.weeks[p.id]) / days[p.id])) for p in self.master.people
        }

    def _book(self, shares: Mapping[str, Sequence[Regular]], orders: Orders) -> Book:
        """What was found, written down: the habit of each site by the days on which it stands; the first possible one where it has none."""
        days: dict[str, list[int]] = defaultdict(list)
        for key, order in orders.items():
            for name in order:
                days[site_of(name)].append(key[1])
        habits = {}
        for person, sites in shares.items():
            for site in sites:
                could = habits_of(self.master, site, self.master.person[person])
                stands = tuple(sorted(days[site.id]))
                fitting = [h for h in could if days_of(self.master, site, h) == stands]
                today = [h for h in could if h == site.habit]
                habits[site.id] = (fitting or today or could)[0]
        return Book(self.master, habits, self._whole(habits, orders))

    def _better(self, candidate: Book, found: Book) -> Book:
        """Of each group of technicians between whom sites changed hands the better of both; who keeps the sites is searched again."""
        worse = [
            group for group in _groups(candidate, found) if _worth(found, group) >= _worth(candidate, group)
        ]
        people = {person for group in worse for person in group}
        if not people:
            return found
        merged = _merged(candidate, found, people)
        whose = {
            name: habit.technician for name, habit in merged.habits.items() if habit.technician in people
        }
        shares = self._shares(whose)
        self.of += sum(1 for sites in shares.values() if sites)
        orders = self._tasks(shares, AGAIN, merged.orders, paid=self._targets(merged))
        second = self._book(
            self._shares({n: h.technician for n, h in merged.habits.items()}), dict(merged.orders) | orders
        )
        lost = {p for p in people if _worth(second, {p}) >= _worth(merged, {p})}
        return _merged(merged, second, lost)

    def _touched(self, book: Book) -> None:
        """What costs more than it saves is taken back, what evens out is taken, until nothing is left or time is up."""
        end = None if self.budget.seconds is None else time.perf_counter() + TOUCH * self.budget.seconds
        left = self.budget.iterations

        def over() -> bool:
            return self.cancelled() or (end is not None and time.perf_counter() >= end)

        for _turn in range(3):
            taken = self._pruned(book, over)
            for name in _heaviest(book):
                if over() or (left is not None and left <= 0):
                    return
                left = None if left is None else left - 1
                steps = book.steps(name, EVERY if name in book.homeless else TRIED)
                if steps and steps[0].delta < GAIN:
                    book.take(steps[0])
                    taken += 1
            if not taken:
                break
        self._pruned(book, over)

    def _pruned(self, book: Book, over: Callable[[], bool]) -> int:
        """Changes that are not worth their price, taken back one by one; how many."""
        taken = 0
        for name in book.changed:
            step = book.back(name)
            if step is not None and step.delta <= 0:
                book.take(step)
                taken += 1
            if over():
                break
        return taken

    def _alone(self, before: Book, after: Book) -> dict[str, Alone]:
        """What each change brings if it is made alone."""
        found = dict[str, Alone]()
        goes = {name: [after.habits[name].technician] for name in after.changed}
        before = Book(self.master, before.habits, before.orders, goes)
        for name in after.changed:
            step = before.over(name, after.habits[name]) if name in before.habits else None
            found[name] = Alone(0, 0, fits=False) if step is None else Alone(-step.driving, -step.metres)
        return found


def _worth(book: Book, people: Iterable[str]) -> float:
    """What the part of these technicians is worth."""
    inside = set(people)
    master = book.master
    days = sum(day.cost for key, day in book.days.items() if key[0] in inside)
    own = [s for s in master.sites if s.id in book.habits and book.habits[s.id].technician in inside]
    prices = sum(master.prices.of(site.habit, book.habits[site.id]) for site in own)
    lost = sum(visits_of(master, site) for site in own if site.id in book.homeless)
    return days + prices + book.uneven(book.weeks, inside) + lost * NO_ROOM


def _groups(one: Book, other: Book) -> list[set[str]]:
    """Technicians between whom sites changed hands from one book to the other, each group by itself."""
    group = {person.id: {person.id} for person in one.master.people}
    for name, habit in one.habits.items():
        a, b = group[habit.technician], group[other.habits[name].technician]
        if a is not b:
            a |= b
            for person in b:
                group[person] = a
    return list({id(some): some for some in group.values()}.values())


def _merged(one: Book, other: Book, people: Iterable[str]) -> Book:
    """The other book, with these technicians as in the one."""
    inside = set(people)
    habits = {
        name: one.habits[name] if habit.technician in inside else other.habits[name]
        for name, habit in one.habits.items()
    }
    orders = {key: (one if key[0] in inside else other).orders[key] for key in one.orders}
    return Book(one.master, habits, orders)


def _heaviest(book: Book) -> list[str]:
    """Sites without a place first, then by how far their week is above the technician's shortest and their technician above the own share."""
    rated, room = [], max(1, sum(book.master.capacity.values()))
    share = sum(sum(row) for row in book.weeks.values()) / room
    for site in book.master.sites:
        habit = book.habits[site.id]
        row = book.weeks[habit.technician]
        days = days_of(book.master, site, habit)
        over = max((row[day // WEEK] - min(row) for day in days), default=0)
        over += max(0, round(sum(row) - share * book.master.capacity[habit.technician])) // len(row)
        rated.append((site.id not in book.homeless, -over, site.id))
    return [name for _homed, _over, name in sorted(rated)]


def _hardest(site: Regular) -> tuple[int, int, str]:
    """Who can be put in fewest places goes first, then the longest work."""
    return sum(window.latest - window.earliest for window in site.hours), -site.seconds, site.id
